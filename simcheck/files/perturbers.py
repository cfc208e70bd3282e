"""Which bodies are seen from a built-in one, and where they are: ephemerides in closed form.

Positions are geometric (no light time, no aberration), in the ICRF, relative to the central body:

- the Sun from the Earth: erfa's epv00 (VSOP2000 simplified), within 11 km in 1900-2100;
- the Moon from the Earth: erfa's moon98 (Meeus 1998), within 32 km in 1950-2100;
- the Sun from Mercury, Venus, Mars, Jupiter and Saturn: erfa's plan94 (Simon et al. 1994), within
  7, 7, 26, 78 and 87 arcseconds and 500, 1100, 9000, 82,000 and 263,000 km of distance;
- the Sun from a moon of Jupiter or Saturn: as from the planet, off by the moon's distance, 0.24 %
  of the Sun's for Callisto and less for the others;
- the planet from its locked moon: above the moon's prime meridian and equator, at the mean distance
  that Kepler's third law gives. Left out is the planet's flattening, 0.02 % of Io's distance and
  0.05 % of Enceladus', and the eccentricity e: 0.004 for Io, 0.009 for Europa, 0.001 for Ganymede,
  0.007 for Callisto, 0.029 for Titan, 0.005 for Enceladus (from memory). It moves the distance by
  e, the direction by 2 e and the tide by 3 e, each way in every revolution.

Left out as pullers, with their tide at the closest against the largest one kept: planets seen from
planets (Venus from the Earth 6e-5 of the Moon's; from Mars the Earth 2e-4 and Jupiter 1e-4 of the
Sun's) and other moons of the same planet (Europa from Io 1e-4 of Jupiter's, Ganymede from Callisto
1e-3).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from simcheck.arrays import Array
from simcheck.bodies import built_in
from simcheck.files.epochs import DAY_S, Instant, erfa_quiet
from simcheck.files.orientation import Orientation
from simcheck.files.sampling import Position, smoothed
from simcheck.records.sky import AU_M

_DE440 = "DE440 (Park et al. 2021)"
GM_M3_S2 = {
    "Sun": (132712440041.279419e9, _DE440),
    "Earth": (398600.435507e9, _DE440),
    "Moon": (4902.800118e9, _DE440),
    "Jupiter": (126686534.4e9, f"system of {_DE440} less its four large moons (JUP365)"),
    "Saturn": (37931206.2e9, "SAT441, from memory; system of DE440 less its moons to 1e-7"),
}

_MONTH_S = 27.321661 * DAY_S  # sidereal, Meeus (1998)
_PLANETS = {"Mercury": 1, "Venus": 2, "Mars": 4, "Jupiter": 5, "Saturn": 6}
_YEARS = {"Mercury": 0.2408467, "Venus": 0.61519726, "Earth": 1.0, "Moon": 1.0}
_YEARS |= {"Mars": 1.8808476, "Jupiter": 11.862615, "Saturn": 29.447498}
_PARENTS = dict.fromkeys(("Io", "Europa", "Ganymede", "Callisto"), "Jupiter")
_PARENTS |= dict.fromkeys(("Titan", "Enceladus"), "Saturn")
_YEAR_S = 365.25636 * DAY_S

KNOWN_FROM = ("Mercury", "Venus", "Earth", "Moon", "Mars", *_PARENTS)
"""The built-in bodies whose other bodies are known."""


@dataclass(frozen=True, kw_only=True)
class Perturber:
    """Another body as seen in the case's axes, and how finely it has to be sampled.

    Segments of `step_s`, at most a 24th of the body's quickest revolution, and `degree` keep to the
    motion within a metre. Its tide is averaged over `revolutions` of revolution_s.
    """

    name: str
    gm_m3_s2: float
    position: Position
    step_s: float
    degree: int
    revolution_s: float
    revolutions: int
    source: str


def perturbers(name: str, epoch: Instant, orientation: Orientation) -> list[Perturber]:
    """Those of a built-in body, the Sun last; empty where its own orbit is not known here."""
    if not is_known_from(name):
        return []
    known = next(one for one in KNOWN_FROM if one.casefold() == name.casefold())
    turned = _turned(orientation.matrix)
    if known == "Earth":
        return [_moon(epoch, turned, 1.0), _sun(known, turned(_sun_from_earth(epoch)), 8.0)]
    if known == "Moon":
        return [_moon(epoch, turned, -1.0), _sun(known, turned(_sun_from_moon(epoch)), 4.0)]
    if known in _PARENTS:
        parent = _PARENTS[known]
        sun = _sun(parent, turned(_sun_from_planet(epoch, parent)), 8.0)
        return [_parent(known, parent, orientation), sun]
    step = _YEARS[known] * 365.25 / 48.0
    return [_sun(known, turned(_sun_from_planet(epoch, known)), step)]


def is_known_from(name: str) -> bool:
    """Whether the Sun and the other bodies are known as seen from a body of that name."""
    return name.casefold() in {one.casefold() for one in KNOWN_FROM}


def _sun(seen_from: str, position: Position, step_days: float) -> Perturber:
    gm, source = GM_M3_S2["Sun"]
    theories = {"Earth": "epv00", "Moon": "epv00 and moon98"}
    theory = theories.get(seen_from, f"plan94 of {seen_from}")
    return Perturber(
        name="Sun",
        gm_m3_s2=gm,
        position=position,
        step_s=step_days * DAY_S,
        degree=10,
        revolution_s=_YEARS[seen_from] * _YEAR_S,
        revolutions=2,
        source=f"{source}; motion: {theory} (erfa)",
    )


def _moon(epoch: Instant, turned: Callable[[Position], Position], sign: float) -> Perturber:
    """The Moon from the Earth (sign 1), or the Earth from the Moon (sign -1)."""
    name = "Moon" if sign > 0 else "Earth"
    gm, source = GM_M3_S2[name]

    def position(times: Array) -> Array:
        return sign * moon_from_earth(epoch, times)

    return Perturber(
        name=name,
        gm_m3_s2=gm,
        position=turned(position),
        step_s=DAY_S,
        degree=8,
        revolution_s=_MONTH_S,
        revolutions=26,
        source=f"{source}; motion: moon98 (erfa)",
    )


def _parent(name: str, parent: str, orientation: Orientation) -> Perturber:
    """The planet above the prime meridian of a locked moon, on a circle about the moon's pole."""
    gm, source = GM_M3_S2[parent]
    moon = built_in(name)
    period, start = moon.rotation_period_s, orientation.prime_meridian_rad
    if period is None or start is None:
        raise ValueError(f"{name}: neither spin nor prime meridian may be missing")
    rate = 2.0 * math.pi / period
    distance = ((gm + moon.gm_m3_s2) / rate**2) ** (1.0 / 3.0)

    def position(times: Array) -> Array:
        angle = start + rate * times
        along = np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], axis=-1)
        return np.asarray(distance * along)

    return Perturber(
        name=parent,
        gm_m3_s2=gm,
        position=position,
        step_s=period / 24.0,
        degree=6,
        revolution_s=period,
        revolutions=2,
        source=f"{source}; motion: circle above the prime meridian",
    )


def _turned(matrix: Array) -> Callable[[Position], Position]:
    def turn(position: Position) -> Position:
        return lambda times: np.asarray(position(times) @ matrix.T)

    return turn


def moon_from_earth(epoch: Instant, times: Array) -> Array:
    """Metres (n, 3) in the ICRF; TDB serves for TT, 2 ms apart at most."""
    with erfa_quiet() as erfa:
        return _place(erfa.moon98(epoch.day, epoch.part + times / DAY_S))


def _sun_from_earth(epoch: Instant) -> Position:
    def position(times: Array) -> Array:
        with erfa_quiet() as erfa:
            return -_place(erfa.epv00(epoch.day, epoch.part + times / DAY_S)[0])

    return position


def _sun_from_moon(epoch: Instant) -> Position:
    sun = smoothed(_sun_from_earth(epoch), 8.0 * DAY_S, 10)
    return lambda times: sun(times) - moon_from_earth(epoch, times)


def _sun_from_planet(epoch: Instant, planet: str) -> Position:
    number = _PLANETS[planet]

    def position(times: Array) -> Array:
        with erfa_quiet() as erfa:
            return -_place(erfa.plan94(epoch.day, epoch.part + times / DAY_S, number))

    return position


def _place(state: Any) -> Array:
    """The position of erfa's states, in metres."""
    return np.asarray(state["p"]) * AU_M
