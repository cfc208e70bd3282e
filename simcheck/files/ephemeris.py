"""The sky of a case: where the other bodies are, from ten days before its epoch on.

Built-in bodies see those of `perturbers`; a case may give others of its own on Kepler orbits.
What is built in is known from 1900 to 2100 (erfa's theories and the poles of the IAU report).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from simcheck.arrays import Array
from simcheck.errors import InputError
from simcheck.files.epochs import DAY_S, Instant, read_date
from simcheck.files.orientation import orientation
from simcheck.files.perturbers import Perturber, is_known_from, perturbers
from simcheck.files.sampling import mean_tide, sampled
from simcheck.kernels.elements import state_from_classical
from simcheck.kernels.kepler import propagate
from simcheck.records.case import Body, Case
from simcheck.records.sky import Sky, Sunlight, ThirdBody, Track

BEFORE_S = 10.0 * DAY_S
"""How long before the epoch a track begins."""

_FIRST, _LAST = 2415020.5, 2488069.5  # 1900-01-01 and 2100-01-01
_RANGE = "1900 to 2100"
_SAMPLES = 128  # of a mean tide, at least
_CASE_FILE = "case file"


def within_range(epoch: Instant, span_s: float) -> bool:
    """Whether the built-in ephemerides know the time from before the epoch to its span's end."""
    day = epoch.day + epoch.part
    return day >= _FIRST + BEFORE_S / DAY_S and day + span_s / DAY_S <= _LAST


def longest_span(epoch: Instant, span_s: float) -> float:
    """The span, cut where the built-in ephemerides end."""
    return min(span_s, (_LAST - epoch.day - epoch.part) * DAY_S)


def out_of_range(name: str) -> str:
    """What to say of a time that `within_range` denies."""
    return f"where the other bodies are about {name} is known from {_RANGE} only"


def oriented(body: Body, epoch: Instant | None) -> Body:
    """The body with its axes in words and, where it is built in, its prime meridian.

    A prime meridian that the case gives stays. Outside the range of years nothing is known.
    """
    found = orientation(body.name, epoch) if epoch and within_range(epoch, 0.0) else None
    if found is None:
        return body
    if body.prime_meridian_rad is not None or found.prime_meridian_rad is None:
        return replace(body, axes=found.axes)
    sources = body.sources | {"prime_meridian": found.source}
    meridian = found.prime_meridian_rad
    return replace(body, axes=found.axes, prime_meridian_rad=meridian, sources=sources)


def built_in_perturbers(body: Body, epoch: Instant | None) -> list[Perturber]:
    """The Sun, and what else is seen from a built-in body; empty where that is not known."""
    if epoch is None or not within_range(epoch, 0.0):
        return []
    found = orientation(body.name, epoch)
    return [] if found is None else perturbers(body.name, epoch, found)


def own_perturber(third: ThirdBody) -> Perturber:
    """A third body of the case's own on its Kepler orbit."""
    e, period = third.eccentricity, third.period_s
    gm = third.semi_major_axis_m**3 * (2.0 * math.pi / period) ** 2
    p = third.semi_major_axis_m * (1.0 - e**2)
    angles = (third.inclination_rad, third.raan_rad, third.argp_rad, third.true_anomaly_rad)
    start, velocity = state_from_classical(p, e, *angles, gm)
    # At the periapsis the angle grows (1 - e)^-1.5 times as fast as on average, or a bit faster.
    segments = 24 * math.ceil(math.sqrt(1.0 + e) * (1.0 - e) ** -1.5)

    def position(times: Array) -> Array:
        return propagate(start, velocity, times, gm)[0]

    return Perturber(
        name=third.name,
        gm_m3_s2=third.gm_m3_s2,
        position=position,
        step_s=period / segments,
        degree=8,
        revolution_s=period,
        revolutions=2,
        source=f"{_CASE_FILE}, Kepler orbit",
    )


def default_period(semi_major_axis_m: float, gm_m3_s2: float) -> float:
    """Period of a Kepler orbit, gm that of both bodies together."""
    return 2.0 * math.pi * math.sqrt(semi_major_axis_m**3 / gm_m3_s2)


def track_of(perturber: Perturber, span_s: float) -> Track:
    """The motion sampled from `BEFORE_S` before the epoch to the span's end or a bit later."""
    step = perturber.step_s
    start = -math.ceil(BEFORE_S / step) * step
    end = max(span_s, step)
    span = perturber.revolutions * perturber.revolution_s
    samples = max(_SAMPLES, round(span / step))
    return Track(
        name=perturber.name,
        gm_m3_s2=perturber.gm_m3_s2,
        start_s=start,
        step_s=step,
        coefficients_m=sampled(perturber.position, start, end, step, perturber.degree),
        mean_tide_s2=mean_tide(perturber.position, perturber.gm_m3_s2, span, samples),
        source=perturber.source,
    )


def own_sky(
    bodies: Sequence[ThirdBody], span_s: float, *, pulling: bool, sunlight: Sunlight | None
) -> Sky:
    """The sky of bodies of the case's own; the Sun is the one that gives light, if any."""
    light = next((body.name for body in bodies if body.irradiance_w_m2 > 0.0), None)
    known = [own_perturber(body) for body in bodies]
    sky = sky_of(known, span_s, pulling=pulling, sun=light, sunlight=sunlight)
    return replace(sky, own=tuple(bodies))


def sky_of(
    bodies: Sequence[Perturber],
    span_s: float,
    *,
    pulling: bool,
    sun: str | None = "Sun",
    sunlight: Sunlight | None = None,
) -> Sky:
    """The sky with these bodies: all of them pull where `pulling`; `sun` names the light."""
    wanted = [body for body in bodies if pulling or body.name == sun]
    tracks = {body.name: track_of(body, span_s) for body in wanted}
    return Sky(
        pulling=tuple(tracks.values()) if pulling else (),
        sun=None if sun is None else tracks.get(sun),
        sunlight=sunlight,
    )


def extended(case: Case, span_s: float) -> Case:
    """A case as loaded, with its sky known to span_s past its epoch at least.

    Raises InputError where the built-in ephemerides end before that.
    """
    sky = case.sky
    if sky is None or all(track.end_s >= span_s for track in (*sky.pulling, *_sun(sky))):
        return case
    pulling = bool(sky.pulling)
    if sky.own:
        longer = own_sky(sky.own, span_s, pulling=pulling, sunlight=sky.sunlight)
    else:
        bodies = _seen_from(case, span_s)
        longer = sky_of(bodies, span_s, pulling=pulling, sunlight=sky.sunlight)
    return replace(case, sky=longer)


def with_sun(case: Case, span_s: float) -> Case:
    """A case as loaded, with the Sun in its sky to span_s past its epoch, whatever its forces.

    Unchanged where the Sun is not known: bodies of the case's own without a light, no epoch. Raises
    InputError as `extended` does.
    """
    if case.sky is not None:
        return extended(case, span_s)
    if case.epoch is None or not is_known_from(case.body.name):
        return case
    return replace(case, sky=sky_of(_seen_from(case, span_s), span_s, pulling=False))


def _seen_from(case: Case, span_s: float) -> list[Perturber]:
    """What is seen from a built-in body; InputError where the ephemerides end too soon."""
    epoch = None if case.epoch is None else read_date(case.epoch)
    if epoch is None:
        raise InputError("the sky of a case without an epoch cannot be made longer")
    if not within_range(epoch, span_s):
        asked = f"not for {span_s / DAY_S:.0f} days past {case.epoch}"
        raise InputError(f"{case.path}: {out_of_range(case.body.name)}, {asked}")
    return built_in_perturbers(case.body, epoch)


def _sun(sky: Sky) -> tuple[Track, ...]:
    return () if sky.sun is None else (sky.sun,)
