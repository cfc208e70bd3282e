"""What an assignment comes to: the record of it, or the error that says who cannot be placed."""

from __future__ import annotations

import math

import numpy as np

from simcheck.assigning.choosing import Refused, Table
from simcheck.assigning.estimating import share_of
from simcheck.assigning.scene import Scene
from simcheck.assigning.separating import Flown
from simcheck.assigning.solving import Solution, unmatched
from simcheck.errors import NoPlanError
from simcheck.records.fleet import Angle, Approach, Assigned, Assignment, Knowledge, Pair, RunnerUp
from simcheck.records.plan import Plan


def impossible(scene: Scene, table: Table, angle: float) -> NoPlanError:
    """The error that names the craft that cannot be placed, and why."""
    fleet, slots = scene.fleet, scene.slots
    possible = np.isfinite(table.lower)
    rows = unmatched(possible)
    names = [fleet.craft[row].name for row in rows]
    for row in rows:
        if possible[row].any():
            continue
        column = slots.index(fleet.allowed(row)[0])
        if not any(place[0] == row for place in table.answers):
            table.answers[row, column] = scene.plans([(row, column)], angle)[0]
        refused = [
            (place[1], answer)
            for place, answer in sorted(table.answers.items())
            if place[0] == row and isinstance(answer, Refused)
        ]
        if refused:
            at, why = refused[0]
            return NoPlanError(
                f"no assignment: {fleet.craft[row].name} can reach none of the slots open to it; to"
                f" slot {slots[at]}: {why.message}",
                limit=why.limit,
                excess=why.excess,
            )
    reached = [slots[k] for k in np.flatnonzero(possible[rows].any(axis=0))]
    return NoPlanError(
        f"no assignment: {', '.join(names)} are {len(rows)} craft, but can reach only "
        f"slot{'s' if len(reached) > 1 else ''} {', '.join(map(str, reached))} between them",
        limit="slots",
        excess=float(len(rows) - len(reached)),
    )


def assignment(
    scene: Scene,
    table: Table,
    found: tuple[Solution, float],
    turned: tuple[float, tuple[Angle, ...]],
    flew: tuple[list[Flown], tuple[Approach, ...]],
) -> Assignment:
    """The record: found are the best assignment and the bound, flew the flights and approaches."""
    (best, bound), (angle, angles), (craft, seen) = found, turned, flew
    assigned = tuple(_assigned(one) for one in craft)
    findings = _findings(assigned, seen, scene.fleet.base.limits.separation_m)
    return Assignment(
        minimise=scene.aim.minimise,
        ring_angle=scene.aim.ring_angle,
        argument_of_latitude_deg=math.degrees(angle),
        planner=scene.name,
        value=best.value,
        bound=bound,
        total_dv_m_s=sum(one.plan.total_dv_m_s for one in assigned),
        largest_share=max(one.share for one in assigned),
        last_arrival_s=max(one.flight.arrival_time_s for one in assigned),
        order=tuple(x.craft for x in sorted(assigned, key=lambda x: x.flight.arrival_time_s)),
        assigned=assigned,
        pairs=tuple(_pairs(scene, table)),
        runner_up=_runner_up(scene, table, best),
        approaches=seen,
        separation_m=scene.fleet.base.limits.separation_m,
        angles=angles,
        verdict="outside" if findings else "within",
        findings=findings,
    )


def _assigned(one: Flown) -> Assigned:
    craft, used = one.case.craft, one.flight.propellant_used_kg
    share = used / craft.propellant_kg if craft.propellant_kg else (math.inf if used else 0.0)
    return Assigned(
        craft=craft.name,
        slot=craft.slot,
        share=share,
        waited_s=one.waited_s,
        waited_revolutions=one.waits,
        plan=one.plan,
        flight=one.flight,
        verdict=one.verdict,
    )


def _findings(
    assigned: tuple[Assigned, ...], seen: tuple[Approach, ...], separation_m: float
) -> tuple[str, ...]:
    found = [f"{one.craft}: {text}" for one in assigned for text in one.verdict.findings]
    found += [
        f"{x.one} and {x.other} come as close as {x.distance_m:.6g} m at {x.time_s:.6g} s, "
        f"{separation_m - x.distance_m:.6g} m nearer than allowed"
        for x in seen
        if not x.kept
    ]
    return tuple(found)


def _pairs(scene: Scene, table: Table) -> list[Pair]:
    fleet, rows = scene.fleet, []
    for row, craft in enumerate(fleet.craft):
        for column, slot in enumerate(scene.slots):
            case = fleet.case(row, slot)
            known, dv, arrival, why = _known(scene, table, row, column)
            rows.append(
                Pair(
                    craft=craft.name,
                    slot=slot,
                    known=known,
                    dv_m_s=dv,
                    share=share_of(case, dv) if math.isfinite(dv) else math.nan,
                    arrival_time_s=arrival,
                    why=why,
                )
            )
    return rows


def _known(
    scene: Scene, table: Table, row: int, column: int
) -> tuple[Knowledge, float, float, str]:
    """What is known of a pair: Δv, arrival, and why there is no plan."""
    answer = table.answers.get((row, column))
    if isinstance(answer, Plan):
        return "planned", answer.total_dv_m_s, answer.arrival_time_s, ""
    if isinstance(answer, Refused):
        return "no plan", math.nan, math.nan, answer.message
    if scene.slots[column] not in scene.fleet.allowed(row):
        return "not its slot", math.nan, math.nan, ""
    dv, arrival = float(table.dv[row, column]), float(table.arrival[row, column])
    if math.isfinite(table.guess[row, column]):
        return "estimated", dv, arrival, ""
    return "bounded", dv, math.nan, ""


def _runner_up(scene: Scene, table: Table, best: Solution) -> RunnerUp | None:
    other = table.by_guess.second(best.columns)
    if other is None:
        return None
    arrivals = table.arrival[np.arange(len(other.columns)), other.columns]
    return RunnerUp(
        slots={
            craft.name: scene.slots[int(column)]
            for craft, column in zip(scene.fleet.craft, other.columns, strict=True)
        },
        value=other.value,
        more=other.value - best.value,
        last_arrival_s=float(np.max(arrivals)),
        firm=not table.unknown(other),
    )
