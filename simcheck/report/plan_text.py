"""A plan as text: each burn with where, when, how much and why, the totals, the alternatives."""

from __future__ import annotations

import math
from typing import NamedTuple

from rich.console import RenderableType

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.measuring import RingMotion
from simcheck.records.case import Case, Engine
from simcheck.records.plan import Burn, Command, Plan
from simcheck.report.network_text import network_warning
from simcheck.report.tables import Fact, facts, heading, note, stacked, table
from simcheck.report.words import (
    calendar,
    clean,
    count,
    degrees,
    duration,
    fixed,
    kilograms,
    kilometres,
    share,
    significant,
    speed,
)

_STEERING = {
    "inertial": "direction fixed in inertial axes",
    "rsw": "direction turning with radial, along-track and cross-track axes",
}
_CUTOFF = {
    "duration": "cut off after its duration",
    "velocity": "cut off on the accelerometer's velocity",
    "orbit": "cut off when the orbit is reached",
}
_WATCHED = {
    "period_s": "orbital period",
    "apsis_radius_m": "apsis radius",
    "tilt": "tilt of the orbit's plane",
}
_AXES = ("radial", "along-track", "cross-track")


class Use(NamedTuple):
    """Propellant that a command uses, and what is left of it afterwards, kg."""

    used_kg: float
    left_kg: float


def plan_text(case: Case, plan: Plan, ring: RingMotion) -> RenderableType:
    """Everything that `simcheck plan` says about a plan."""
    return stacked(
        header(case, plan, ring),
        *burn_blocks(case, plan, ring),
        heading("Totals"),
        facts(totals(case, plan)),
        *trade(plan, "Trade between Δv and time"),
    )


def header(case: Case, plan: Plan, ring: RingMotion) -> RenderableType:
    """The case in a few lines, and the plan in one."""
    epoch = f"{case.epoch} TDB" if case.epoch else "when the craft is in the state of the case file"
    members = ", ".join(member.name for member in case.members)
    craft = case.craft
    return stacked(
        heading(case.title),
        facts(
            [
                ("craft", f"{craft.name}, {kilograms(craft.mass_kg)}, to slot {craft.slot}"),
                ("ring", ring_words(case, ring)),
                ("members", members),
                ("body", f"{case.body.name}; forces: {', '.join(case.forces) or 'two-body only'}"),
                ("epoch", epoch),
                ("plan", f"{plan.summary} (planner: {plan.planner})"),
                *warnings(plan),
                ("WARNING", network_warning(case, ring) or ""),
            ]
        ),
    )


def warnings(plan: Plan) -> list[Fact]:
    """What the plan warns of, a line each."""
    return [("WARNING", clean(warning)) for warning in plan.warnings]


def ring_words(case: Case, ring: RingMotion) -> str:
    """The ring in a line."""
    asked = case.ring
    return (
        f"{count(asked.slots, 'slot')}, nodal period {duration(ring.period_s)},"
        f" mean radius {kilometres(ring.radius_m)},"
        f" inclination {degrees(math.degrees(asked.inclination_rad))}"
    )


def burn_blocks(case: Case, plan: Plan, ring: RingMotion) -> list[RenderableType]:
    """One block a burn, with its command beside it."""
    uses = propellant_uses(case, plan)
    parts: list[RenderableType] = []
    for burn in plan.burns:
        own = [(c, u) for c, u in zip(plan.commands, uses, strict=True) if c.burn == burn.label]
        pairs: list[Fact] = [
            ("impulse", moment(case, burn.time_s)),
            ("where", where(case, burn, ring)),
            ("Δv", f"{speed(burn.magnitude_m_s)}: {components(burn.dv_rsw_m_s)}"),
        ]
        for command, use in own:
            pairs += _command_facts(case, command, use)
        pairs.append(("why", burn.reason))
        parts += [heading(f"{burn.label}: {burn.purpose}"), facts(pairs)]
    return parts or [note("No burn is needed.")]


def _command_facts(case: Case, command: Command, use: Use) -> list[Fact]:
    engine = engine_of(case, command)
    made = f"{significant(engine.thrust_n, 'N')}, {fixed(engine.isp_s, 1, 's')}" if engine else ""
    cutoff = _CUTOFF[command.cutoff]
    if command.cutoff == "orbit" and command.watch is not None:
        cutoff += f" ({_WATCHED[command.watch.quantity]})"
    return [
        ("command", f"{command.engine}{f' ({made})' if made else ''}, {cutoff}"),
        ("ignition", f"{moment(case, command.ignition_s)}"),
        ("burn time", f"{fixed(command.duration_s, 2, 's')} for {speed(command.dv_m_s)}"),
        ("steering", f"{_STEERING[command.steering]}: {_direction(command)}"),
        ("propellant", f"{kilograms(use.used_kg)}, leaving {kilograms(use.left_kg)}"),
    ]


def _direction(command: Command) -> str:
    names = _AXES if command.steering == "rsw" else ("x", "y", "z")
    return ", ".join(
        f"{name} {value:+.5f}"
        for name, value in zip(names, command.direction.tolist(), strict=True)
    )


def moment(case: Case, seconds: float) -> str:
    """Time past the epoch, with the date where the case has an epoch."""
    date = calendar(case.epoch, seconds)
    return f"{duration(seconds)} after the epoch" + (f" = {date}" if date else "")


def where(case: Case, burn: Burn, ring: RingMotion) -> str:
    """Altitude, radius and the place as seen from the ring."""
    radius = math.hypot(*burn.position_m.tolist())
    latitude, above = seen_from_ring(burn.position_m, burn.time_s, ring)
    side = "above" if above >= 0.0 else "below"
    return (
        f"altitude {kilometres(radius - case.body.radius_m)}, radius {kilometres(radius)},"
        f" argument of latitude {degrees(latitude)} along the ring,"
        f" {degrees(abs(above))} {side} the ring's plane"
    )


def seen_from_ring(position: Array, time_s: float, ring: RingMotion) -> tuple[float, float]:
    """Argument of latitude in the ring frame and angle above the ring's plane, degrees."""
    x, y, z = (ring.frame(time_s) @ position).tolist()
    latitude = math.degrees(math.atan2(y, x)) % 360.0
    return latitude, math.degrees(math.atan2(z, math.hypot(x, y)))


def components(dv_rsw: Array) -> str:
    """The three components of a burn in RSW, named."""
    pairs = zip(_AXES, dv_rsw.tolist(), strict=True)
    return ", ".join(f"{name} {fixed(value, 3, sign=True)}" for name, value in pairs)


def totals(case: Case, plan: Plan) -> list[Fact]:
    """Δv in separate columns, the floor, propellant and arrival."""
    uses = propellant_uses(case, plan)
    used = math.fsum(use.used_kg for use in uses)
    on_board = case.craft.propellant_kg
    reserve = kilograms(on_board - used)
    losses = plan.commanded_dv_m_s - plan.total_dv_m_s
    return [
        (
            "deterministic Δv, impulses",
            f"{speed(plan.total_dv_m_s)} in {count(len(plan.burns), 'burn')}",
        ),
        ("finite-burn loss, re-aiming", speed(losses, sign=True)),
        ("Δv commanded", f"{speed(plan.commanded_dv_m_s)}, losses and re-aiming included"),
        ("floor", _floor(plan)),
        *([("optimality", _optimality(plan))] if plan.primer is not None else []),
        ("propellant", f"{kilograms(used)} of {kilograms(on_board)}, leaving {reserve}"),
        ("arrival", moment(case, plan.arrival_time_s)),
    ]


def _floor(plan: Plan) -> str:
    floor = plan.lower_bound_dv_m_s
    if floor is None:
        return "not known"
    text = f"{speed(floor)}, the least from orbit to orbit with any time and phase"
    over = max(plan.total_dv_m_s - floor, 0.0)
    if not floor > 0.01 * plan.total_dv_m_s:
        return f"{text}; what the plan costs is the price of the phase"
    return f"{text}; the impulses lie {share(over / floor)} above it"


def _optimality(plan: Plan) -> str:
    """The verdict on Lawden's conditions."""
    if plan.primer is None:
        return "not known"
    return f"{plan.primer.verdict} (Lawden's conditions): {plan.primer.why}"


def trade(plan: Plan, title: str) -> list[RenderableType]:
    """Δv against time, this plan among the others, earliest first."""
    if not plan.alternatives:
        return []
    own = (plan.arrival_time_s, plan.total_dv_m_s, len(plan.burns), f"this plan: {plan.summary}")
    others = [(o.arrival_time_s, o.total_dv_m_s, o.burns, o.summary) for o in plan.alternatives]
    rows = [
        (duration(arrival), fixed(dv, 3), str(burns), summary)
        for arrival, dv, burns, summary in sorted([own, *others], key=lambda row: row[0])
    ]
    return [
        heading(title),
        table((">arrival", ">Δv, m/s", ">burns", "plan"), rows),
    ]


def engine_of(case: Case, command: Command) -> Engine | None:
    """The engine that a command is for, None where the case has no thrusters."""
    return case.engine if command.engine == "engine" else case.thrusters


def propellant_uses(case: Case, plan: Plan) -> list[Use]:
    """Propellant of each command by the rocket equation, in order, nothing failing."""
    mass, uses = case.craft.mass_kg, []
    for command in plan.commands:
        engine = engine_of(case, command)
        exhaust = G0 * engine.isp_s if engine else math.nan
        after = mass * math.exp(-command.dv_m_s / exhaust)
        uses.append(Use(mass - after, after - case.craft.dry_mass_kg))
        mass = after
    return uses
