"""Strategies for the tables of a case that stand alone, and for the numbers in all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields
from typing import Any, TypeVar

from hypothesis import strategies as st

from simcheck.files.units import parse
from simcheck.records.case import Body, Engine, Errors, Limits, Operations, Tolerance

T = TypeVar("T")


def drawn(draw: st.DrawFn, values: Sequence[T], given: T | None) -> T:
    """What is given, or one of the values, of which the first is the simplest."""
    return draw(st.sampled_from(values)) if given is None else given


def number(draw: st.DrawFn, low: int, high: int, unit: str, kind: str, step: float = 1.0) -> float:
    """A multiple of `step` units, from low to high steps, in SI."""
    count = draw(st.integers(low, max(low, high)))
    return parse(f"{round(count * step, 6)} {unit}", kind)


def degrees(draw: st.DrawFn, low: int = 0, high: int = 359) -> float:
    """Whole degrees, in radians."""
    return number(draw, low, high, "deg", "angle")


def step_km(body: Body) -> float:
    """A round number of km, a fiftieth of the body's radius or so."""
    return float(10 ** math.floor(math.log10(body.radius_m / 1e3 / 30)))


@st.composite
def engines(draw: st.DrawFn, weight_n: float, revolution_s: float) -> Engine:
    """Engines of half to five times the craft's weight on the ring, that burn for up to a tenth of
    a revolution or without an end."""
    unit = 10.0 ** math.floor(math.log10(weight_n / 2))
    most = math.floor(revolution_s / 10 / 60)
    return Engine(
        name="engine",
        thrust_n=unit * draw(st.integers(round(weight_n / 2 / unit), round(5 * weight_n / unit))),
        isp_s=float(draw(st.integers(30, 45)) * 10),
        min_burn_s=number(draw, 0, 10, "s", "time", 0.1),
        max_burn_s=(
            number(draw, max(most // 2, 1), most, "min", "time")
            if draw(st.booleans())
            else math.inf
        ),
        cutoff=draw(st.sampled_from(["duration", "velocity", "orbit"])),
    )


@st.composite
def thrusters(draw: st.DrawFn) -> Engine:
    """Small ones for trims."""
    return Engine(
        name="thrusters",
        thrust_n=float(draw(st.integers(1, 20))),
        isp_s=float(draw(st.integers(20, 23)) * 10),
        min_burn_s=number(draw, 0, 5, "s", "time", 0.01),
    )


_SIZES = {
    "thrust_bias": (20, "%", "share", 0.1),
    "isp_bias": (10, "%", "share", 0.1),
    "magnitude_proportional": (10, "%", "share", 0.1),
    "magnitude_fixed_m_s": (10, "mm/s", "speed", 1.0),
    "pointing_proportional_rad": (10, "deg", "angle", 0.1),
    "pointing_fixed_m_s": (10, "mm/s", "speed", 1.0),
    "ignition_time_s": (10, "s", "time", 0.1),
    "initial_position_m": (20, "m", "length", 10.0),
    "initial_velocity_m_s": (20, "mm/s", "speed", 5.0),
    "navigation_position_m": (10, "m", "length", 10.0),
    "navigation_velocity_m_s": (10, "mm/s", "speed", 1.0),
    "missed_burn": (5, "%", "share", 1.0),
    "accelerometer_scale": (10, "%", "share", 0.1),
}
"""Of each error the most steps, the unit, its kind and the step."""


def erring(draw: st.DrawFn, with_errors: bool | None) -> dict[str, Any]:
    """Errors, and the operations that answer them."""
    if not drawn(draw, (False, True), with_errors):
        return {"errors": Errors(), "operations": Operations()}
    sizes = {
        field.name: number(draw, 0, most, unit, kind, step)
        for field in fields(Errors)
        for most, unit, kind, step in [_SIZES[field.name]]
    }
    hours = draw(st.sampled_from([None, 1, 12]))
    return {
        "errors": Errors(**sizes),
        "operations": Operations(
            replan=draw(st.sampled_from(["never", "each-burn"])),
            max_trims=draw(st.integers(0, 6)),
            settle_s=None if hours is None else hours * 3600.0,
            settle_revolutions=1.0 if hours is None else None,
        ),
    }


@st.composite
def tolerances(draw: st.DrawFn, revolution_s: float, with_phase: bool | None) -> Tolerance:
    """Tolerances of handbook sizes; a period's is that of a drift of 0.02 to 0.2 deg a turn."""
    seconds = revolution_s / 18000
    return Tolerance(
        phase_rad=(
            number(draw, 1, 20, "deg", "angle", 0.1)
            if drawn(draw, (True, False), with_phase)
            else None
        ),
        period_s=float(draw(st.integers(max(round(seconds), 1), max(round(10 * seconds), 1)))),
        eccentricity=draw(st.integers(1, 10)) / 1000,
        plane_rad=number(draw, 5, 50, "deg", "angle", 0.01),
    )


@st.composite
def limits(
    draw: st.DrawFn,
    body: Body,
    radii: tuple[float, float, float],
    revolution_s: float,
    crowded: bool,
    with_limits: bool | None,
) -> Limits:
    """A duration of 20 to 60 revolutions; with limits, those that start and ring are within."""
    few, many = (max(math.ceil(turns * revolution_s / 86400), 1) for turns in (20, 60))
    duration = number(draw, few, many, "d", "time")
    if not drawn(draw, (False, True), with_limits):
        return Limits(duration_s=duration)
    step = step_km(body)
    room = math.floor((min(radii) - body.radius_m) / 1e3 / step)
    reach = math.ceil(1.1 * max(radii) / 1e3 / step)
    return Limits(
        duration_s=duration,
        dv_m_s=float(draw(st.integers(10, 60)) * 100),
        min_altitude_m=number(draw, 0, max(room - 1, 0), "km", "length", step),
        max_radius_m=number(draw, reach, 5 * reach, "km", "length", step),
        separation_m=number(draw, 0, 2, "km", "length", 10.0) if crowded else 0.0,
    )
