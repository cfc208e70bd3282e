"""What is seen from the central body: other bodies that pull, the Sun that shines, and the spin.

Everything is in the case's inertial axes, in seconds past its epoch, SI. Motions are sampled at the
edge (`simcheck.files`) into Chebyshev segments, so that what flies knows no ephemeris.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from simcheck.arrays import Array, frozen_array

SUN_PRESSURE_N_M2 = 4.5398e-6
"""Pressure of sunlight on a black surface at one astronomical unit: 1361 W/m2 over light's speed.

Kopp and Lean (2011), Geophys. Res. Lett. 38, L01706, give 1360.8 +- 0.5 W/m2 at solar minimum.
"""

AU_M = 149597870700.0
"""The astronomical unit, IAU 2012 Resolution B2."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Track:
    """Where another body is seen from the central one.

    coefficients_m (segments, degree + 1, 3) are of Chebyshev polynomials in -1..1 over each of the
    segments, `step_s` long, the first of which begins at `start_s`. mean_tide_s2 (3, 3) is its
    tidal tensor gm/d^3 (3 u u' - 1) averaged over whole revolutions. source says where the motion
    is from and how well it is known.
    """

    name: str
    gm_m3_s2: float
    start_s: float
    step_s: float
    coefficients_m: Array
    mean_tide_s2: Array
    source: str

    def __post_init__(self) -> None:
        shape = (None, None, 3)
        object.__setattr__(
            self, "coefficients_m", frozen_array(self.coefficients_m, shape, "coefficients")
        )
        object.__setattr__(
            self, "mean_tide_s2", frozen_array(self.mean_tide_s2, (3, 3), "mean tide")
        )

    @property
    def end_s(self) -> float:
        """The last time covered."""
        return self.start_s + self.step_s * len(self.coefficients_m)


@dataclass(frozen=True, kw_only=True, eq=False)
class ThirdBody:
    """Another body of the case's own: its Kepler orbit as seen from the central body.

    Osculating at the epoch in the case's axes. irradiance_w_m2 is that of its light at the distance
    of the semi-major axis, 0 where it gives none.
    """

    name: str
    gm_m3_s2: float
    semi_major_axis_m: float
    eccentricity: float
    inclination_rad: float
    raan_rad: float
    argp_rad: float
    true_anomaly_rad: float
    period_s: float
    irradiance_w_m2: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Sunlight:
    """The push of sunlight on every relay and on the craft, as on a sphere.

    The acceleration is pressure * (distance / d)^2 * reflectivity * area_to_mass, away from the
    Sun, where the body does not hide it. reflectivity is 1 for a black sphere, up to 2.
    """

    area_to_mass_m2_kg: float
    reflectivity: float
    pressure_n_m2: float = SUN_PRESSURE_N_M2
    distance_m: float = AU_M


@dataclass(frozen=True, kw_only=True, eq=False)
class Sky:
    """The other bodies: those that pull (forces "third-bodies"), and the Sun where it is known.

    sunlight is None where "sunlight-pressure" is not among the forces; sun may be known without.
    own holds the bodies that the case file gives, at its epoch; a sky on another clock has none.
    """

    pulling: tuple[Track, ...] = ()
    sun: Track | None = None
    sunlight: Sunlight | None = None
    own: tuple[ThirdBody, ...] = ()

    @property
    def tracks(self) -> tuple[Track, ...]:
        """Those that move a craft: the bodies that pull and, last where it shines, the Sun."""
        suns = self._suns if self.sunlight is not None else ()
        return (*(track for track in self.pulling if track not in suns), *suns)

    def scaled(self, share: float) -> Sky:
        """The same sky with its pull and push multiplied by `share`."""

        def weaker(track: Track) -> Track:
            tide = share * track.mean_tide_s2
            return replace(track, gm_m3_s2=share * track.gm_m3_s2, mean_tide_s2=tide)

        light = self.sunlight
        if light is not None:
            light = replace(light, pressure_n_m2=share * light.pressure_n_m2)
        return self._with(weaker, light)

    def seen_from(self, seconds: float) -> Sky:
        """The same sky on a clock that begins `seconds` later."""
        return self._with(
            lambda track: replace(track, start_s=track.start_s - seconds), self.sunlight
        )

    def _with(self, change: Callable[[Track], Track], light: Sunlight | None) -> Sky:
        """Every track changed; a Sun that pulls too stays one object."""
        changed = {id(track): change(track) for track in (*self.pulling, *self._suns)}
        return Sky(
            pulling=tuple(changed[id(track)] for track in self.pulling),
            sun=None if self.sun is None else changed[id(self.sun)],
            sunlight=light,
        )

    @property
    def _suns(self) -> tuple[Track, ...]:
        return () if self.sun is None else (self.sun,)
