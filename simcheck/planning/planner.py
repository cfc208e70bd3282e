"""The planner: search, aim, explain; and where nothing fits, say which limit binds."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.engines.base import G0
from simcheck.errors import FlightError, NoPlanError
from simcheck.kernels.vectors import norm, rsw_frame
from simcheck.measuring import average, offsets
from simcheck.planning.binding import Refusal, no_plan, not_found, ring_beyond
from simcheck.planning.candidates import Candidate
from simcheck.planning.commanding import Aimed, Range, command
from simcheck.planning.problem import Problem, problem_of
from simcheck.planning.proving import proof
from simcheck.planning.reasons import pieces, purpose, reason
from simcheck.planning.replanning import DEARER, NAME, kept, kept_plan, trimmed
from simcheck.planning.searching import ARCS, INDIFFERENT, Entry, Search, search, trade
from simcheck.planning.worth import UNKNOWN, worths
from simcheck.records.case import Case
from simcheck.records.plan import Alternative, Burn, Plan, State
from simcheck.records.wish import Wish

_EFFORT = 8.0  # candidates aimed before giving up; long burn sequences count more
_VARIANTS = ((0.85, 0.0), (0.85, 0.002), (0.55, 0.002))
"""Shares of max_burn that a plan uses and margins on radii, tried in turn: in the case's forces and
with finite burns a burn may have to grow, and an orbit put on a limit may pass it by kilometres."""
_QUICK_REVOLUTIONS = 15
_GROWTH = 1.02  # a plan dearer than this once aimed has its rivals aimed too
_ALTERNATIVES = 10
_THERE = 0.1  # of each tolerance: nearer than this nothing needs doing


def plan_ring(case: Case, wish: Wish | None = None) -> Plan:
    """Plan the burns that bring the case's craft to its slot.

    wish says what to prefer of several plans and how hard to look; the same wish gives the same
    plan. Raises NoPlanError naming the limit that binds.
    """
    wish = wish or Wish()
    site = Range(case)
    beyond = ring_beyond(case, site.motion.radius_m)
    if beyond is not None:
        raise beyond
    if wish.flying is None:
        return _fresh(case, site, wish)
    return _on_course(case, site, wish, wish.flying)


def _on_course(case: Case, site: Range, wish: Wish, flying: Plan) -> Plan:
    """What is left of the plan being flown, or trims, or a fresh plan if clearly cheaper."""
    old = kept(site, flying)
    if old is not None and old.cheap:
        return kept_plan(site, old)
    try:
        other = trimmed(site, wish) or _fresh(case, site, wish)
    except NoPlanError:
        if old is None:
            raise
        return kept_plan(site, old)
    if old is not None and old.aimed.dv_m_s <= other.commanded_dv_m_s * (1 + DEARER):
        return kept_plan(site, old)
    return other


def _fresh(case: Case, site: Range, wish: Wish) -> Plan:
    """A plan from a search of its own."""
    problems = [limited(problem_of(case, arc), case) for arc in ARCS]
    if wish.effort == 0:
        problems = [_soon(problem) for problem in problems]
    if _already_there(site):
        return _plan(
            site, Search(problems[0], [], 0.0), None, _nothing(), Aimed((), 0.0, 0.0, None), wish
        )
    refused: list[Refusal] = []
    best: Plan | None = None
    for share, margin in _VARIANTS:
        found = search(
            [_variant(problem, share, margin) for problem in problems],
            wish,
            timed=wish.effort > 0,
        )
        plan, tried = _first_good(site, found, wish)
        if plan is not None and (best is None or _cheaper(plan, best)):
            best = plan
        refused += tried
        if not _mendable(tried, best):
            break
    if best is not None:
        return best
    raise no_plan(case, problems, refused) if wish.effort > 0 else not_found(refused)


def _soon(problem: Problem) -> Problem:
    """The problem with a horizon that a quick answer can afford."""
    span = _QUICK_REVOLUTIONS * max(problem.period_s, problem.motion.period_s)
    return replace(problem, end_s=min(problem.end_s, problem.start_s + span))


def _variant(problem: Problem, share: float, margin: float) -> Problem:
    """The problem with shorter burns, or with its radius limits drawn in by a margin."""
    return replace(
        problem,
        burn_share=share,
        min_radius_m=problem.min_radius_m * (1 + margin),
        max_radius_m=problem.max_radius_m * (1 - margin),
    )


def _cheaper(plan: Plan, best: Plan) -> bool:
    return plan.commanded_dv_m_s < best.commanded_dv_m_s * (1 - INDIFFERENT)


def _mendable(refused: list[Refusal], best: Plan | None) -> bool:
    """Whether another variant may keep what was refused for burns or orbits just over a limit."""
    bar = np.inf if best is None else best.commanded_dv_m_s * (1 - INDIFFERENT)
    near = ("max_burn", "max_radius", "min_altitude")
    return any(x.limit in near and x.entry.dv < bar for x in refused)


class _Choice(NamedTuple):
    entry: Entry
    candidate: Candidate
    aimed: Aimed


def _first_good(site: Range, found: Search, wish: Wish) -> tuple[Plan | None, list[Refusal]]:
    """The first candidate that keeps every limit once aimed, and what was refused.

    Where the case's forces make a plan dearer than its impulses, others are aimed too and the
    cheapest as commanded is taken.
    """
    refused: list[Refusal] = []
    best: _Choice | None = None
    effort = 0.0
    for entry in found.entries:
        if effort >= _EFFORT or _hopeless(refused):
            break
        candidate = entry.candidate(found.problem)
        if candidate is None:
            continue
        effort += max(1.0, len(candidate.impulses) / 8)
        try:
            aimed = command(site, candidate, punctual=wish.prefer == "time")
        except FlightError as trouble:
            refused.append(Refusal(entry, "", str(trouble), float("nan")))
            effort += max(1.0, len(candidate.impulses) / 4)
            continue
        if aimed.broken is not None:
            refused.append(
                Refusal(entry, aimed.broken.limit, aimed.broken.why, aimed.broken.excess)
            )
            continue
        if best is None or aimed.dv_m_s < best.aimed.dv_m_s * (1 - INDIFFERENT):
            best = _Choice(entry, candidate, aimed)
        if best.aimed.dv_m_s < found.entries[0].dv * _GROWTH or wish.prefer == "time":
            break
    return (_plan(site, found, *best, wish) if best is not None else None), refused


def _hopeless(refused: list[Refusal]) -> bool:
    """Whether burns have come out too long twice, which a finer split mends and others do not."""
    return sum(x.limit == "max_burn" for x in refused) >= 2


def limited(problem: Problem, case: Case) -> Problem:
    """The problem with the Δv limit that the propellant sets, if that is the smaller."""
    craft = case.craft
    tank = G0 * case.engine.isp_s * np.log(craft.mass_kg / craft.dry_mass_kg)
    return replace(problem, dv_m_s=min(problem.dv_m_s, float(tank)))


def _already_there(site: Range) -> bool:
    """Whether the craft, left alone, reads well inside every listed tolerance."""
    t, slot = site.case.tolerance, site.case.craft.slot
    try:
        found = average(site.propagator, 0.0, site.start, site.motion)
    except FlightError:
        return False
    off = offsets(found, site.motion, slot)
    pairs = zip(off, (t.phase_rad, t.period_s, t.eccentricity, t.plane_rad), strict=True)
    return all(abs(error) < _THERE * bar for error, bar in pairs if bar is not None)


def _nothing() -> Candidate:
    return Candidate("nothing to do", (), (), None)


def _plan(
    site: Range,
    found: Search,
    entry: Entry | None,
    candidate: Candidate,
    aimed: Aimed,
    wish: Wish,
) -> Plan:
    problem = found.problem
    burns = _burns(problem, candidate, _fewer(found, candidate), quick=wish.effort == 0)
    last = candidate.impulses[-1] if candidate.impulses else None
    arrival = State(
        position_m=last.position if last else site.case.craft.position_m,
        velocity_m_s=last.after if last else site.case.craft.velocity_m_s,
    )
    return Plan(
        planner=NAME,
        summary=_summary(candidate),
        burns=burns,
        total_dv_m_s=candidate.dv,
        arrival_time_s=candidate.arrival,
        arrival_state=arrival,
        lower_bound_dv_m_s=found.floor,
        alternatives=_alternatives(found, entry),
        commands=aimed.commands,
        commanded_dv_m_s=aimed.dv_m_s,
        primer=proof(problem, candidate) if wish.effort > 0 else None,
    )


def _fewer(found: Search, candidate: Candidate) -> float:
    """The least Δv of what was found with fewer burns and no later arrival, m/s."""
    rivals = [e.made for e in found.entries if isinstance(e.made, Candidate)]
    count = len(candidate.impulses)
    fewer = [x for x in rivals if len(x.impulses) < count and x.arrival <= candidate.arrival + 1.0]
    return min((x.dv for x in fewer), default=np.inf)


def _burns(
    problem: Problem, candidate: Candidate, fewer: float, *, quick: bool
) -> tuple[Burn, ...]:
    parts = pieces(candidate)
    count = len(candidate.impulses)
    worth = [UNKNOWN] * count if quick else worths(problem, candidate, fewer)
    burns = []
    for index, impulse in enumerate(candidate.impulses):
        last = index == len(candidate.impulses) - 1
        frame = rsw_frame(impulse.position, impulse.before)
        burns.append(
            Burn(
                label=f"B{index + 1}",
                purpose=purpose(problem, impulse, last=last),
                reason=reason(problem, candidate, index, piece=parts[index], worth=worth[index]),
                time_s=impulse.time,
                position_m=impulse.position,
                dv_m_s=impulse.dv,
                dv_rsw_m_s=frame @ impulse.dv,
                magnitude_m_s=float(norm(impulse.dv)),
            )
        )
    return tuple(burns)


def _summary(candidate: Candidate) -> str:
    if not candidate.impulses:
        return "already in the slot: no burn needed"
    text = candidate.route
    waits = sum(candidate.waits)
    if waits:
        text += f", {waits} waiting revolution{'s' if waits > 1 else ''}"
    if candidate.phasing is not None:
        turns = candidate.phasing.revolutions
        text += f", {turns} phasing revolution{'s' if turns > 1 else ''}"
    return text


def _alternatives(found: Search, chosen: Entry | None) -> tuple[Alternative, ...]:
    """The trade between Δv and time, the chosen plan left out."""
    if chosen is None:
        return ()
    rows = []
    for entry in trade(found.entries, most=_ALTERNATIVES):
        candidate = entry.candidate(found.problem) if entry is not chosen else None
        if candidate is None:
            continue
        rows.append(
            Alternative(
                summary=_summary(candidate),
                burns=len(candidate.impulses),
                total_dv_m_s=candidate.dv,
                arrival_time_s=candidate.arrival,
                why_not=_why_not(entry, chosen),
            )
        )
    return tuple(rows)


def _why_not(entry: Entry, chosen: Entry) -> str:
    dv, days = entry.dv - chosen.dv, (entry.arrival - chosen.arrival) / 86400
    when = f"{abs(days):.2f} d {'later' if days > 0 else 'earlier'}"
    if dv > 0.05:
        return f"{dv:.1f} m/s more, {when}"
    return f"{-dv:.1f} m/s less, {when}"


__all__ = ["NAME", "NoPlanError", "plan_ring"]
