"""What is wrong with a planner's answer, before anybody flies it.

Only what no limit of the case has to do with: a plan that arrives late or outside a tolerance is
flown and judged. A command that the case's engines cannot carry out is none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any, get_args

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.records.case import Case, Cutoff, Engine
from simcheck.records.plan import (
    Alternative,
    Burn,
    Command,
    Plan,
    Primer,
    Quantity,
    State,
    Steering,
    Watch,
)

_LATEST_S = 1e9  # 32 years: a time beyond is a mistake, and would be flown for hours
_LENGTH = 1e-6  # relative: how far two ways of writing one length may differ
_DV = 1e-3  # relative: another g0, or a mass of its own reckoning, makes less
_DV_M_S = 1e-6
_SLACK_S = 1e-6
_SLACK_KG = 1e-6
_BURN = 1e-6  # relative, of the shortest and the longest burn


def faults(case: Case, plan: object, start: str = "the case's epoch") -> list[str]:
    """Faults of a plan for a case, a line each: where, what was expected and what it is.

    Times count from the case's epoch, which `start` names. Empty where there are none.
    """
    if not isinstance(plan, Plan):
        return [f"expected a Plan, got {_shown(plan)}"]
    wrong = list(_types(plan))
    if wrong:
        return wrong
    return [*_burns(plan, start), *_commands(plan, start), *_engines(case, plan), *_totals(plan)]


def _types(plan: Plan) -> Iterator[str]:
    """Whether every field is what the records say it is, and every number finite."""
    yield from _fields("plan", plan, ("planner", "summary"))
    yield from _numbers("plan", plan, ("total_dv_m_s", "arrival_time_s", "commanded_dv_m_s"))
    if plan.lower_bound_dv_m_s is not None:
        yield from _numbers("plan", plan, ("lower_bound_dv_m_s",))
    if not isinstance(plan.arrival_state, State):
        yield f"plan: arrival_state: expected a State, got {_shown(plan.arrival_state)}"
    if not isinstance(plan.warnings, tuple) or not all(isinstance(x, str) for x in plan.warnings):
        yield f"plan: warnings: expected a tuple of texts, got {_shown(plan.warnings)}"
    if not isinstance(plan.primer, Primer | None):
        yield f"plan: primer: expected a Primer or None, got {_shown(plan.primer)}"
    for name, kind in (("burns", Burn), ("commands", Command), ("alternatives", Alternative)):
        items = getattr(plan, name)
        if not isinstance(items, tuple) or not all(isinstance(item, kind) for item in items):
            yield f"plan: {name}: expected a tuple of {kind.__name__} records, got {_shown(items)}"
            return
    for k, burn in enumerate(plan.burns):
        yield from _fields(f"burns[{k}]", burn, ("label", "purpose", "reason"))
        yield from _numbers(f"burns[{k}]", burn, ("time_s", "magnitude_m_s"))
    for k, command in enumerate(plan.commands):
        yield from _command_types(f"commands[{k}]", command)
    for k, other in enumerate(plan.alternatives):
        yield from _fields(f"alternatives[{k}]", other, ("summary", "why_not"))
        yield from _numbers(f"alternatives[{k}]", other, ("total_dv_m_s", "arrival_time_s"))


def _command_types(where: str, command: Command) -> Iterator[str]:
    yield from _fields(where, command, ("burn",))
    yield from _numbers(where, command, ("ignition_s", "duration_s", "dv_m_s"))
    words: list[tuple[str, tuple[object, ...]]] = [
        ("engine", ("engine", "thrusters")),
        ("steering", get_args(Steering)),
        ("cutoff", get_args(Cutoff)),
    ]
    for name, known in words:
        yield from _word(where, command, name, known)
    watch = command.watch
    if isinstance(watch, Watch):
        yield from _word(f"{where}: watch", watch, "quantity", get_args(Quantity))
        yield from _numbers(f"{where}: watch", watch, ("target",))
    elif watch is not None:
        yield f"{where}: watch: expected a Watch or None, got {_shown(watch)}"


def _word(where: str, record: object, name: str, known: tuple[object, ...]) -> Iterator[str]:
    value = getattr(record, name)
    if value not in known:
        yield f"{where}: {name}: expected one of {', '.join(map(str, known))}, got {_shown(value)}"


def _fields(where: str, record: object, names: tuple[str, ...]) -> Iterator[str]:
    for name in names:
        value = getattr(record, name)
        if not isinstance(value, str):
            yield f"{where}: {name}: expected text, got {_shown(value)}"


def _numbers(where: str, record: object, names: tuple[str, ...]) -> Iterator[str]:
    for name in names:
        value: Any = getattr(record, name)
        if not isinstance(value, float | int | np.floating) or not math.isfinite(value):
            yield f"{where}: {name}: expected a finite number, got {_shown(value)}"


def _burns(plan: Plan, start: str) -> Iterator[str]:
    labels = [burn.label for burn in plan.burns]
    for k, burn in enumerate(plan.burns):
        if not burn.label.strip() or labels.index(burn.label) < k:
            yield f"burns[{k}]: label: expected one that no other burn has, got {burn.label!r}"
        yield from _time(burn.label, "time_s", burn.time_s, start)
        if not _length(burn.position_m) > 0.0:
            yield f"{burn.label}: position_m: expected a place away from the body's centre"
        for name in ("dv_m_s", "dv_rsw_m_s"):
            length = _length(getattr(burn, name))
            if not _agree(length, burn.magnitude_m_s):
                yield (
                    f"{burn.label}: {name}: expected a vector of length magnitude_m_s"
                    f" = {burn.magnitude_m_s:.9g}, got one of length {length:.9g}"
                )
    yield from _ascending(labels, "time_s", [burn.time_s for burn in plan.burns])


def _commands(plan: Plan, start: str) -> Iterator[str]:
    commands, known = plan.commands, {burn.label for burn in plan.burns}
    labels = [command.burn for command in commands]
    for k, command in enumerate(commands):
        if command.burn not in known:
            yield f"commands[{k}]: burn: expected the label of a burn, got {command.burn!r}"
        elif labels.index(command.burn) < k:
            yield f"commands[{k}]: burn: {command.burn!r} has a command already"
        yield from _command(command, start)
    yield from _ascending(labels, "ignition_s", [command.ignition_s for command in commands])
    for one, two in pairwise(commands):
        cutoff = one.ignition_s + one.duration_s
        if one.ignition_s <= two.ignition_s < cutoff - _SLACK_S:
            yield (
                f"{two.burn}: ignition_s: expected a time after the cutoff of {one.burn},"
                f" {cutoff:.9g} s, got {two.ignition_s:.9g}"
            )


def _command(command: Command, start: str) -> Iterator[str]:
    name, watch = command.burn, command.watch
    yield from _time(name, "ignition_s", command.ignition_s, start)
    for field in ("duration_s", "dv_m_s"):
        value = getattr(command, field)
        if not value > 0.0:
            yield f"{name}: {field}: expected more than 0, got {value:.9g}"
    yield from _unit_length(name, "direction", command.direction)
    if watch is None:
        if command.cutoff == "orbit":
            yield f'{name}: watch: expected what to watch, since cutoff is "orbit", got None'
        return
    if watch.direction is not None:
        yield from _unit_length(name, "watch.direction", watch.direction)
    if watch.quantity != "tilt":
        if not watch.target > 0.0:
            yield f"{name}: watch.target: expected more than 0, got {watch.target:.9g}"
        return
    if watch.direction is None:
        yield f"{name}: watch.direction: expected the direction of the tilt, got None"
    if abs(watch.target) > 1.0:
        yield f"{name}: watch.target: expected a sine, from -1 to 1, got {watch.target:.9g}"


def _engines(case: Case, plan: Plan) -> Iterator[str]:
    """Each command against the engine that is to carry it out, the mass followed by the rocket
    equation."""
    mass, dry = case.craft.mass_kg, case.craft.dry_mass_kg
    for command in plan.commands:
        name, length = command.burn, command.duration_s
        engine = case.thrusters if command.engine == "thrusters" else case.engine
        if engine is None:
            yield f"{name}: engine: the case has no thrusters, got {command.engine!r}"
            return
        if not length > 0.0:
            return
        yield from _burn_length(name, length, engine)
        flow = engine.thrust_n / (G0 * engine.isp_s)
        burnt, left = flow * length, mass - dry
        if burnt > left + _SLACK_KG:
            yield (
                f"{name}: duration_s: expected {left / flow:.6g} at most, as long as the"
                f" {left:.6g} kg of propellant then left last, got {length:.6g}"
            )
            return
        made = -G0 * engine.isp_s * math.log1p(-burnt / mass)
        if abs(made - command.dv_m_s) > _DV * made + _DV_M_S:
            yield (
                f"{name}: dv_m_s: expected {made:.6g}, what {engine.thrust_n:g} N at an Isp of"
                f" {engine.isp_s:g} s make of {mass:.6g} kg in {length:.6g} s,"
                f" got {command.dv_m_s:.6g}"
            )
        mass -= burnt


def _burn_length(name: str, length: float, engine: Engine) -> Iterator[str]:
    """What is shorter or longer than the engine can do cannot be commanded."""
    if length < engine.min_burn_s * (1 - _BURN):
        yield (
            f"{name}: duration_s: expected {engine.min_burn_s:.6g} at least, the min_burn of the"
            f" {engine.name}, got {length:.6g}"
        )
    if length > engine.max_burn_s * (1 + _BURN):
        yield (
            f"{name}: duration_s: expected {engine.max_burn_s:.6g} at most, the max_burn of the"
            f" {engine.name}, got {length:.6g}"
        )


def _totals(plan: Plan) -> Iterator[str]:
    total = math.fsum(burn.magnitude_m_s for burn in plan.burns)
    if not _agree(total, plan.total_dv_m_s):
        yield (
            f"plan: total_dv_m_s: expected the burns' sum, {total:.9g}, got {plan.total_dv_m_s:.9g}"
        )
    commanded = math.fsum(command.dv_m_s for command in plan.commands)
    if not abs(commanded - plan.commanded_dv_m_s) <= _DV * commanded + _DV_M_S:
        yield (
            f"plan: commanded_dv_m_s: expected the commands' sum, {commanded:.9g},"
            f" got {plan.commanded_dv_m_s:.9g}"
        )
    last = max((burn.time_s for burn in plan.burns), default=0.0)
    if not last - _SLACK_S <= plan.arrival_time_s <= _LATEST_S:
        yield (
            f"plan: arrival_time_s: expected a time not before the last burn, {last:.9g} s, and not"
            f" after {_LATEST_S:.0e} s, got {plan.arrival_time_s:.9g}"
        )


def _time(name: str, field: str, value: float, start: str) -> Iterator[str]:
    if value < -_SLACK_S:
        yield f"{name}: {field}: expected a time after {start}, 0 s, got {value:.9g}"
    elif value > _LATEST_S:
        yield f"{name}: {field}: expected a time before {_LATEST_S:.0e} s, got {value:.9g}"


def _ascending(labels: Sequence[str], field: str, times: Sequence[float]) -> Iterator[str]:
    for (one, before), (two, after) in pairwise(zip(labels, times, strict=True)):
        if after < before:
            yield (
                f"{two}: {field}: expected a time after that of {one}, {before:.9g} s,"
                f" got {after:.9g}"
            )


def _unit_length(name: str, field: str, vector: Array) -> Iterator[str]:
    length = _length(vector)
    if not abs(length - 1.0) <= _LENGTH:
        yield f"{name}: {field}: expected a vector of length 1, got one of length {length:.9g}"


def _length(vector: Array) -> float:
    return math.hypot(*vector.tolist())


def _agree(one: float, other: float) -> bool:
    return abs(one - other) <= _LENGTH * (1.0 + abs(other))


def _shown(value: object) -> str:
    """A value that is not what it should be, in a few words."""
    text = repr(value) if isinstance(value, str | int | float | None) else ""
    kind = type(value).__name__
    return text[:60] if text else f"{'an' if kind[0].lower() in 'aeiou' else 'a'} {kind}"
