"""A plan read from a JSON document, and what it must satisfy beyond its types to be flown."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from simcheck.arrays import Array
from simcheck.errors import InputError
from simcheck.files.records_json import load_json, read_record, shown
from simcheck.records.case import Case
from simcheck.records.plan import Burn, Command, Plan

PLAN_SCHEMA = "simcheck.plan/1"
COMMON_KEYS = ("schema", "case", "simcheck", "inputs_sha256", "constants")
"""Keys that stand beside the plan's own in a document written by `plan --json`."""

_HOLDING_A_PLAN = ("simcheck.check/1", "simcheck.fly/1")
_LATEST_S = 1e9  # 32 years: a time beyond is a mistake, and would be flown for hours
_SAME_GM = 0.01  # relative: sources differ by less, bodies by more
_LENGTH = 1e-6  # relative: how far two ways of writing one length may differ
_OVERLAP_S = 1e-6


def read_plan(path: str | Path, case: Case | None = None) -> Plan:
    """The plan in a document that `simcheck plan`, `check` or `fly` wrote with --json.

    A case, where given, must be about the plan's body and have the engines that it commands; a plan
    made for a case of another title warns of it. Raises InputError naming the file and key of
    everything that is wrong.
    """
    file = str(path)
    document = load_json(path)
    plan = read_record(Plan, _plan_object(document, file), file, finite=True)
    faults = [*check_plan(plan), *(_engines(plan, case) if case else ())]
    if isinstance(document, dict) and case is not None:
        faults += _body(document, case)
        plan = replace(plan, warnings=(*plan.warnings, *_title(document, case, file)))
    if faults:
        raise InputError(*(f"{file}: {fault}" for fault in faults))
    return plan


def _body(document: dict[str, object], case: Case) -> Iterator[str]:
    """A fault where the plan was made about another body."""
    constants = document.get("constants")
    gm = constants.get("gm_m3_s2") if isinstance(constants, dict) else None
    if not isinstance(gm, int | float) or not isinstance(constants, dict):
        return
    if not math.isclose(gm, case.body.gm_m3_s2, rel_tol=_SAME_GM):
        body = shown(constants.get("name"))
        yield (
            f"constants: expected a plan about {case.body.name}, got one about {body}"
            f" (gm {gm:.6g} m3/s2); plan this case with simcheck plan CASE --json"
        )


def _title(document: dict[str, object], case: Case, file: str) -> Iterator[str]:
    """A warning where the plan was made for a case of another title."""
    made = document.get("case")
    title = made.get("title") if isinstance(made, dict) else None
    if isinstance(title, str) and title != case.title:
        yield f"{file} was made for another case, {shown(title)}"


def _plan_object(document: object, file: str) -> object:
    """The part of a document that is the plan's."""
    if not isinstance(document, dict):
        raise InputError(f"{file}: expected an object, got {shown(document)}")
    schema = document.get("schema")
    if schema in _HOLDING_A_PLAN:
        if "plan" not in document:
            raise InputError(f"{file}: plan: missing")
        return document["plan"]
    if schema != PLAN_SCHEMA:
        raise InputError(
            f"{file}: schema: expected {', '.join((PLAN_SCHEMA, *_HOLDING_A_PLAN))}, got "
            + ("nothing" if schema is None else shown(schema))
        )
    return {key: value for key, value in document.items() if key not in COMMON_KEYS}


def check_plan(plan: Plan) -> list[str]:
    """Faults of a plan, each `key: what is wrong`; empty where there are none."""
    return [*_burns(plan), *_commands(plan), *_totals(plan), *_warnings(plan)]


def _burns(plan: Plan) -> Iterator[str]:
    labels = [burn.label for burn in plan.burns]
    for k, burn in enumerate(plan.burns):
        if not burn.label.strip() or labels.index(burn.label) < k:
            yield f"burns[{k}].label: expected a label that no other burn has, got {burn.label!r}"
        yield from _burn(f"burns[{k}]", burn)
    yield from _ascending("burns", "time_s", [burn.time_s for burn in plan.burns])


def _burn(key: str, burn: Burn) -> Iterator[str]:
    yield from _time(f"{key}.time_s", burn.time_s)
    if not _length(burn.position_m) > 0.0:
        yield f"{key}.position_m: expected a place away from the body's centre"
    for name in ("dv_m_s", "dv_rsw_m_s"):
        length = _length(getattr(burn, name))
        if not _agree(length, burn.magnitude_m_s):
            yield (
                f"{key}.{name}: expected a vector of length magnitude_m_s"
                f" = {burn.magnitude_m_s:.9g}, got one of {length:.9g}"
            )


def _commands(plan: Plan) -> Iterator[str]:
    labels = {burn.label for burn in plan.burns}
    for k, command in enumerate(plan.commands):
        key = f"commands[{k}]"
        if command.burn not in labels:
            yield f"{key}.burn: expected the label of one of the burns, got {command.burn!r}"
        yield from _command(key, command)
    yield from _ascending("commands", "ignition_s", [c.ignition_s for c in plan.commands])
    for k, (one, two) in enumerate(pairwise(plan.commands)):
        cutoff = one.ignition_s + one.duration_s
        if one.ignition_s <= two.ignition_s < cutoff - _OVERLAP_S:
            yield (
                f"commands[{k + 1}].ignition_s: expected a time after the cutoff of the burn"
                f" before, {cutoff:.9g} s, got {two.ignition_s:.9g}"
            )


def _engines(plan: Plan, case: Case) -> Iterator[str]:
    for k, command in enumerate(plan.commands):
        if command.engine == "thrusters" and case.thrusters is None:
            yield (
                f"commands[{k}].engine: the case has no thrusters; write"
                " engine, or give the case a [thrusters] table"
            )


def _command(key: str, command: Command) -> Iterator[str]:
    yield from _time(f"{key}.ignition_s", command.ignition_s)
    if not 0.0 < command.duration_s <= _LATEST_S:
        yield f"{key}.duration_s: expected a time above zero, got {command.duration_s:.9g}"
    if not command.dv_m_s >= 0.0:
        yield f"{key}.dv_m_s: expected a speed of zero or more, got {command.dv_m_s:.9g}"
    yield from _unit_length(f"{key}.direction", command.direction)
    watch = command.watch
    if command.cutoff == "orbit" and watch is None:
        yield f'{key}.watch: expected what to watch, since cutoff is "orbit"; got null'
    if watch is None:
        return
    if watch.quantity == "tilt":
        if watch.direction is None:
            yield f"{key}.watch.direction: expected the direction of the tilt, got null"
        if abs(watch.target) > 1.0:
            yield f"{key}.watch.target: expected a sine, from -1 to 1, got {watch.target:.9g}"
    elif not watch.target > 0.0:
        yield f"{key}.watch.target: expected a number above zero, got {watch.target:.9g}"
    if watch.direction is not None:
        yield from _unit_length(f"{key}.watch.direction", watch.direction)


def _totals(plan: Plan) -> Iterator[str]:
    total = math.fsum(burn.magnitude_m_s for burn in plan.burns)
    if not _agree(total, plan.total_dv_m_s):
        yield f"total_dv_m_s: expected the burns' sum, {total:.9g}, got {plan.total_dv_m_s:.9g}"
    if not plan.commanded_dv_m_s >= 0.0:
        yield f"commanded_dv_m_s: expected zero or more, got {plan.commanded_dv_m_s:.9g}"
    yield from _time("arrival_time_s", plan.arrival_time_s)
    last = max((burn.time_s for burn in plan.burns), default=0.0)
    if plan.arrival_time_s < last - _OVERLAP_S:
        yield (
            f"arrival_time_s: expected a time not before the last burn, {last:.9g} s,"
            f" got {plan.arrival_time_s:.9g}"
        )


def _warnings(plan: Plan) -> Iterator[str]:
    for k, warning in enumerate(plan.warnings):
        if not warning.strip():
            yield f"warnings[{k}]: expected words, got {warning!r}"


def _time(key: str, value: float) -> Iterator[str]:
    if not 0.0 <= value <= _LATEST_S:
        yield f"{key}: expected seconds past the epoch, from 0 to {_LATEST_S:.0e}, got {value:.9g}"


def _ascending(key: str, name: str, times: Sequence[float]) -> Iterator[str]:
    for k, (one, two) in enumerate(pairwise(times)):
        if two < one:
            yield (
                f"{key}[{k + 1}].{name}: expected {key} in order of time, got {two:.9g}"
                f" after {one:.9g}"
            )


def _unit_length(key: str, vector: Array) -> Iterator[str]:
    length = _length(vector)
    if not abs(length - 1.0) <= _LENGTH:
        yield f"{key}: expected a vector of length 1, got one of length {length:.9g}"


def _length(vector: Array) -> float:
    return math.hypot(*vector.tolist())


def _agree(one: float, other: float) -> bool:
    return abs(one - other) <= _LENGTH * (1.0 + abs(other))
