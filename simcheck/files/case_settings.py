"""The tables of a case file that stand alone: limits, engines, errors, operations and aims."""

from __future__ import annotations

import math
from typing import Literal, cast

from simcheck.files.case_faults import shown
from simcheck.files.case_tables import Table
from simcheck.files.units import UnitError, parse, split_revolutions
from simcheck.records.case import (
    Body,
    Cutoff,
    DispersionAim,
    Engine,
    Errors,
    Limits,
    Operations,
    Replan,
    Tolerance,
)
from simcheck.records.fleet import MINIMISE, AssignAim, Minimise, RingAngle
from simcheck.records.hold import HoldAim

SHORTEST_HOLD_S, LONGEST_HOLD_S = 86400.0, 20 * 365.25 * 86400.0


def read_limits(top: Table, body: Body | None) -> Limits:
    """[limits]; infinity and zero where the file is silent."""
    table = top.table("limits")
    if table is None:
        return Limits()
    inf = math.inf
    limits = Limits(
        duration_s=table.quantity("duration", "time", "15 d", default=inf, above=0.0),
        dv_m_s=table.quantity("dv", "speed", "1500 m/s", default=inf, above=0.0),
        min_altitude_m=table.quantity(
            "min_altitude", "length", "200 km", default=0.0, at_least=0.0
        ),
        max_radius_m=table.quantity("max_radius", "length", "60000 km", default=inf, above=0.0),
        separation_m=table.quantity("separation", "length", "20 km", default=0.0, at_least=0.0),
    )
    table.close()
    if body is not None and limits.max_radius_m < body.radius_m + limits.min_altitude_m:
        table.fault(
            "max_radius",
            f"leaves no room: it is below the radius of {body.name} plus min_altitude, "
            f"{(body.radius_m + limits.min_altitude_m) / 1e3:.3f} km",
        )
    return limits


def read_engine(top: Table, key: Literal["engine", "thrusters"]) -> Engine | None:
    """[engine], required, or [thrusters]."""
    example = 'write [engine] with thrust = "400 N" and isp = "318 s"'
    table = top.table(key, example if key == "engine" else "")
    if table is None:
        return None
    engine = Engine(
        name=key,
        thrust_n=table.quantity("thrust", "force", "400 N", above=0.0),
        isp_s=table.quantity("isp", "time", "318 s", above=0.0),
        min_burn_s=table.quantity("min_burn", "time", "0.2 s", default=0.0, at_least=0.0),
        max_burn_s=table.quantity("max_burn", "time", "30 min", default=math.inf, above=0.0),
        cutoff=cast(
            "Cutoff", table.choice("cutoff", ("duration", "velocity", "orbit"), "duration")
        ),
    )
    if engine.min_burn_s > engine.max_burn_s:
        table.fault(
            "min_burn",
            f"the shortest burn, {engine.min_burn_s:g} s, is longer than max_burn, "
            f"{engine.max_burn_s:g} s; exchange them",
        )
    table.close()
    return engine


def read_errors(top: Table) -> Errors:
    """[errors]; zero where the file is silent."""
    table = top.table("errors")
    if table is None:
        return Errors()

    def size(key: str, kind: str, example: str) -> float:
        below = 1.0 if kind == "share" else None
        return table.quantity(key, kind, example, default=0.0, at_least=0.0, below=below)

    errors = Errors(
        thrust_bias=size("thrust_bias", "share", "1 %"),
        isp_bias=size("isp_bias", "share", "0.3 %"),
        magnitude_proportional=size("magnitude_proportional", "share", "0.5 %"),
        magnitude_fixed_m_s=size("magnitude_fixed", "speed", "5 mm/s"),
        pointing_proportional_rad=size("pointing_proportional", "angle", "0.5 deg"),
        pointing_fixed_m_s=size("pointing_fixed", "speed", "3 mm/s"),
        ignition_time_s=size("ignition_time", "time", "0.2 s"),
        initial_position_m=size("initial_position", "length", "200 m"),
        initial_velocity_m_s=size("initial_velocity", "speed", "0.05 m/s"),
        navigation_position_m=size("navigation_position", "length", "50 m"),
        navigation_velocity_m_s=size("navigation_velocity", "speed", "5 mm/s"),
        missed_burn=size("missed_burn", "share", "1 %"),
        accelerometer_scale=size("accelerometer_scale", "share", "0.1 %"),
    )
    table.close()
    return errors


def read_operations(top: Table) -> Operations:
    """[operations]."""
    table = top.table("operations")
    if table is None:
        return Operations()
    replan = cast("Replan", table.choice("replan", ("never", "each-burn"), "never"))
    trims = table.whole("max_trims", "6", default=0)
    seconds: float | None = None
    revolutions: float | None = 1.0
    if table.has("settle"):
        seconds, revolutions = _read_settle(table)
    table.close()
    return Operations(
        replan=replan, max_trims=trims or 0, settle_s=seconds, settle_revolutions=revolutions
    )


def _read_settle(table: Table) -> tuple[float | None, float | None]:
    """Seconds or revolutions, the other one None."""
    revolutions = split_revolutions(table.raw("settle"))
    if revolutions is None:
        return table.quantity(
            "settle", "time", "1 rev", at_least=0.0, what="a time or a number of revolutions"
        ), None
    if revolutions < 0.0:
        table.fault(
            "settle", f'expected at least 0 rev, got {revolutions:g}; write settle = "1 rev"'
        )
    return None, revolutions


def read_dispersion(top: Table) -> DispersionAim:
    """[dispersion]."""
    table = top.table("dispersion")
    if table is None:
        return DispersionAim()
    usual = DispersionAim()
    samples = table.whole("samples", "2000", default=usual.samples, at_least=1)
    share, speed = _read_margin(table)
    aim = DispersionAim(
        samples=samples or usual.samples,
        success=table.quantity(
            "success", "share", "99 %", default=usual.success, above=0.0, below=1.0
        ),
        confidence=table.quantity(
            "confidence", "share", "90 %", default=usual.confidence, above=0.0, below=1.0
        ),
        margin_share=share,
        margin_m_s=speed,
    )
    table.close()
    return aim


def _read_margin(table: Table) -> tuple[float, float]:
    """A share of the plan's Δv and a Δv, of which at most one is not 0."""
    given = table.raw("margin")
    if given is None:
        return 0.0, 0.0
    if _is_speed(given):
        return 0.0, table.quantity("margin", "speed", "20 m/s", at_least=0.0)
    what = "a share of the plan's Δv, or a Δv, with its unit"
    return table.quantity("margin", "share", "5 %", at_least=0.0, at_most=1.0, what=what), 0.0


def _is_speed(given: object) -> bool:
    try:
        return isinstance(given, str) and math.isfinite(parse(given, "speed"))
    except UnitError:
        return False


def read_assign(top: Table) -> AssignAim:
    """[assign]: what `simcheck assign` makes least, and whether the ring may be turned."""
    table = top.table("assign")
    if table is None:
        return AssignAim()
    aim = AssignAim(
        minimise=cast("Minimise", table.choice("minimise", MINIMISE, MINIMISE[0])),
        ring_angle=cast("RingAngle", table.choice("ring_angle", ("fixed", "free"), "fixed")),
    )
    table.close()
    return aim


def read_tolerance(top: Table) -> Tolerance:
    """[tolerance], which must name something to judge."""
    example = 'phase = "0.5 deg", period = "5 s", eccentricity = 0.002 or plane = "0.1 deg"'
    table = top.table("tolerance", f"write [tolerance] with any of {example}")
    if table is None:
        return Tolerance()
    keys = ("phase", "period", "eccentricity", "plane")
    none = math.nan
    phase = table.quantity("phase", "angle", "0.5 deg", default=none, above=0.0)
    period = table.quantity("period", "time", "5 s", default=none, above=0.0)
    eccentricity = table.number("eccentricity", "0.002", default=none, above=0.0, below=1.0)
    plane = table.quantity("plane", "angle", "0.1 deg", default=none, above=0.0)
    if not any(table.has(key) for key in keys):
        table.fault(None, f"there is nothing to judge; write at least one of {example}")
    table.close()
    return Tolerance(
        phase_rad=phase if table.has("phase") else None,
        period_s=period if table.has("period") else None,
        eccentricity=eccentricity if table.has("eccentricity") else None,
        plane_rad=plane if table.has("plane") else None,
    )


def read_hold(top: Table) -> HoldAim:
    """[hold]."""
    table = top.table("hold")
    if table is None:
        return HoldAim()
    usual = HoldAim().duration_s
    asked = table.quantity("duration", "time", "2 yr", default=usual)
    if math.isfinite(asked) and not SHORTEST_HOLD_S <= asked <= LONGEST_HOLD_S:
        given = shown(table.raw("duration"))
        table.fault("duration", f'expected 1 day to 20 years, got {given}; write duration = "2 yr"')
    table.close()
    return HoldAim(duration_s=asked)
