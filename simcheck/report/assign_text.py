"""Who goes where as text: the assignment, what every pair costs, the burns, the approaches."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from simcheck.measuring import RingMotion
from simcheck.records.fleet import Approach, Assigned, Assignment, Fleet, Minimise, Pair, RunnerUp
from simcheck.report.flight_text import constants
from simcheck.report.judged_text import CAUTION
from simcheck.report.tables import BAD, GOOD, Fact, cell, facts, heading, note, stacked, table, word
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

_MADE_LEAST: dict[Minimise, str] = {
    "total-dv": "the Δv of all craft together",
    "largest-share": "the largest share of its propellant that any craft uses",
    "time": "the arrival of the last craft",
}
_SLOTS_A_TABLE = 6
_MOST_APPROACHES = 15


def assign_text(fleet: Fleet, found: Assignment, ring: RingMotion) -> RenderableType:
    """Everything that `simcheck assign` says."""
    return stacked(
        _header(fleet, found, ring),
        *_places(fleet, found),
        *_costs(found),
        *_burns(found),
        *_approaches(found),
        *constants(fleet.base, ring),
        *_verdict(found),
    )


def _header(fleet: Fleet, found: Assignment, ring: RingMotion) -> RenderableType:
    base = fleet.base
    members = ", ".join(member.name for member in base.members)
    angle = degrees(found.argument_of_latitude_deg)
    return stacked(
        heading(base.title),
        facts(
            [
                ("craft", ", ".join(craft.name for craft in fleet.craft)),
                (
                    "ring",
                    f"{count(base.ring.slots, 'slot')}, nodal period {duration(ring.period_s)}, "
                    f"mean radius {kilometres(ring.radius_m)}, inclination "
                    f"{degrees(math.degrees(base.ring.inclination_rad))}",
                ),
                ("members", members),
                ("open slots", ", ".join(map(str, fleet.open_slots))),
                (
                    "body",
                    f"{base.body.name}; forces: {', '.join(base.forces) or 'two-body only'}",
                ),
                ("epoch", f"{base.epoch} TDB" if base.epoch else ""),
                ("made least", _MADE_LEAST[found.minimise]),
                ("slot 0 at the epoch", f"argument of latitude {angle}{_turned(found)}"),
                ("planner", found.planner),
            ]
        ),
    )


def _turned(found: Assignment) -> str:
    if found.ring_angle == "fixed":
        return ""
    steps = sorted(x.argument_of_latitude_deg for x in found.angles)
    finest = min((b - a for a, b in pairwise(steps)), default=math.nan)
    return (
        f", the best of {count(len(steps), 'angle')} tried by estimates, "
        f"{significant(finest, 'deg')} apart near it"
    )


def _places(fleet: Fleet, found: Assignment) -> list[RenderableType]:
    by_name = {one.craft: one for one in found.assigned}
    rows = [_place_row(by_name[name]) for name in found.order]
    names = (">", "craft", ">slot", ">Δv, m/s", ">propellant", ">of it", ">arrives after", "")
    numbered = [(str(k), *row) for k, row in enumerate(rows, start=1)]
    last = found.last_arrival_s
    when = calendar(fleet.base.epoch, last)
    bound = found.value - found.bound
    return [
        heading("Who goes where, in order of arrival"),
        table(names, numbered),
        facts(
            [
                ("Δv of all", f"{speed(found.total_dv_m_s)}, impulses"),
                ("largest share", f"{share(found.largest_share)} of the propellant on board"),
                ("last arrival", duration(last) + (f", {when}" if when else "")),
                (
                    "how sure",
                    f"no assignment is better by more than {_amount(found.minimise, bound)}, as "
                    "far as the planner's plans go",
                ),
                *_waits(found),
                *_next_best(found),
            ]
        ),
    ]


def _place_row(one: Assigned) -> tuple[str | Text, ...]:
    flight = one.flight
    return (
        one.craft,
        str(one.slot),
        fixed(one.plan.total_dv_m_s, 1),
        kilograms(flight.propellant_used_kg),
        share(one.share),
        duration(flight.arrival_time_s),
        word(one.verdict.verdict == "within", "within", "OUTSIDE"),
    )


def _waits(found: Assignment) -> Iterator[Fact]:
    for one in found.assigned:
        if one.waited_revolutions:
            yield (
                "put off",
                f"{one.craft} waits {count(one.waited_revolutions, 'revolution')}, "
                f"{duration(one.waited_s)}, to keep clear of the others",
            )


def _next_best(found: Assignment) -> Iterator[Fact]:
    other: RunnerUp | None = found.runner_up
    if other is None:
        yield "next best", "there is no other assignment"
        return
    own = {one.craft: one.slot for one in found.assigned}
    moves = [f"{name} to {slot}" for name, slot in other.slots.items() if slot != own.get(name)]
    more = _amount(found.minimise, other.more)
    yield (
        "next best",
        f"{', '.join(moves)}: {more} more, the last arrives after "
        f"{duration(other.last_arrival_s)}{'' if other.firm else '; estimated'}",
    )


def _amount(minimise: Minimise, value: float) -> str:
    """A difference in what was made least."""
    value = max(value, 0.0)
    if minimise == "time":
        return duration(value)
    return f"{100.0 * value:.3f} % points" if minimise == "largest-share" else speed(value)


def _costs(found: Assignment) -> list[RenderableType]:
    slots = sorted({pair.slot for pair in found.pairs})
    starts = range(0, len(slots), _SLOTS_A_TABLE)
    legend = (
        "Δv in m/s and arrival in days. * assigned; ~ estimated in closed form, > no plan can "
        "be below this, both without a plan; x no plan; - not its slot."
    )
    parts: list[RenderableType] = [
        heading("What each pair costs"),
        *(_cost_table(found, slots[start : start + _SLOTS_A_TABLE]) for start in starts),
        note(legend),
    ]
    reasons = [p for p in found.pairs if p.known == "no plan"]
    if reasons:
        parts.append(facts([(f"{p.craft} to {p.slot}", p.why) for p in reasons]))
    return parts


def _cost_table(found: Assignment, slots: Sequence[int]) -> RenderableType:
    pairs = {(pair.craft, pair.slot): pair for pair in found.pairs}
    own = {one.craft: one.slot for one in found.assigned}
    rows = [
        (name, *(_cost(pairs[name, slot], chosen=own[name] == slot) for slot in slots))
        for name in own
    ]
    return table(("craft", *(f">slot {slot}" for slot in slots)), rows)


def _cost(pair: Pair, *, chosen: bool) -> str:
    if pair.known in {"no plan", "not its slot"}:
        return "x" if pair.known == "no plan" else "-"
    mark = {"planned": "*" if chosen else "", "estimated": "~", "bounded": ">"}[pair.known]
    when = "" if math.isnan(pair.arrival_time_s) else f", {pair.arrival_time_s / 86400.0:.2f}"
    return f"{mark}{fixed(pair.dv_m_s, 1)}{when}"


def _burns(found: Assignment) -> list[RenderableType]:
    rows = []
    for one in found.assigned:
        commands = {command.burn: command for command in one.plan.commands}
        for burn in one.plan.burns:
            command = commands.get(burn.label)
            rows.append(
                (
                    one.craft,
                    burn.label,
                    burn.purpose,
                    duration(burn.time_s),
                    fixed(burn.magnitude_m_s, 3),
                    fixed(command.duration_s, 1) if command else "",
                    command.engine if command else "none",
                )
            )
    names = ("craft", "burn", "purpose", ">after the epoch", ">Δv, m/s", ">lasting, s", "by")
    return [
        heading("Plans"),
        table(names, rows) if rows else note("No burn is needed."),
        facts([(one.craft, one.plan.summary) for one in found.assigned]),
    ]


def _approaches(found: Assignment) -> list[RenderableType]:
    members = [one for one in found.assigned if one.flight.closest_approach_m is not None]
    if not found.approaches and not members:
        return []
    near = sorted(found.approaches, key=lambda x: x.distance_m)
    rows = [_approach_row(found, approach) for approach in near[:_MOST_APPROACHES]]
    rows += [
        (
            f"{one.craft} and {one.flight.closest_member}",
            kilometres(one.flight.closest_approach_m),
            "in its flight",
            word(one.verdict.kept.get("separation", True), "apart", "TOO CLOSE"),
        )
        for one in members
    ]
    more = len(near) - _MOST_APPROACHES
    asked = kilometres(found.separation_m) if found.separation_m else "none"
    return [
        heading("Closest approaches until the last has arrived"),
        table(("between", ">distance", ">after the epoch", ""), rows),
        note(f"Separation asked for: {asked}." + (f" {more} wider pairs left out." * (more > 0))),
    ]


def _approach_row(found: Assignment, approach: Approach) -> tuple[str | Text, ...]:
    judged = word(approach.kept, "apart", "TOO CLOSE") if found.separation_m else cell("")
    return (
        f"{approach.one} and {approach.other}",
        kilometres(approach.distance_m),
        duration(approach.time_s),
        judged,
    )


def _verdict(found: Assignment) -> list[RenderableType]:
    good = found.verdict == "within"
    text = (
        f"All {len(found.assigned)} craft reach their slots and keep apart."
        if good
        else "; ".join(found.findings) + "."
    )
    if good and len(found.assigned) == 1:
        text = f"{found.assigned[0].craft} reaches its slot."
    sentence = cell("WITHIN." if good else "OUTSIDE.", GOOD if good else BAD)
    sentence.append(" " + clean(text), style="")
    return [heading("Verdict"), Padding(sentence, (0, 0, 0, 2)), Text(), note(CAUTION)]
