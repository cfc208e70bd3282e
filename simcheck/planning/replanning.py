"""Planning for a craft already on its way: keep what is left of its plan, or trim.

The case begins at the estimate. What is left of the plan keeps its burns, re-aimed, while that
costs little more than was foreseen; a craft near its slot with no burn left is trimmed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.errors import FlightError, NoPlanError
from simcheck.kernels.elements import eccentricity_vector
from simcheck.kernels.kepler import propagate
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import TAU, angle_between, cross, norm, rsw_frame
from simcheck.planning.candidates import Candidate
from simcheck.planning.commanding import Aimed, Range, recommand
from simcheck.planning.trimming import (
    GOOD,
    JUST,
    Ambition,
    Trim,
    aim_trim,
    by_preference,
    in_place,
    shortest_wait,
    sparser,
    standing,
    tank_dv,
    trims,
)
from simcheck.records.plan import Alternative, Burn, Command, Plan, State
from simcheck.records.wish import Wish

NAME = "ring"

DEARER, DEARER_M_S = 0.05, 1.0
"""A plan kept may cost this share and this much more than was foreseen before others are tried."""

_KEPT_GOAL = 0.05  # of each tolerance, for burns re-aimed from an estimate
_INDIFFERENT = 0.001  # of the Δv left in the tank, for which an earlier arrival is bought
_NO_COMMANDS = Aimed((), 0.0, 0.0, None)
_AT_MOST, _AT_MOST_M_S = 1.5, 1.0
"""A trim that is taken for its few burns may cost this many times the cheapest, and this much."""

_SIDEWAYS = 2.0  # a burn whose part across the plane is this much larger than the rest


class Kept(NamedTuple):
    """What is left of a plan, re-aimed; foreseen_m_s is what it was to cost."""

    aimed: Aimed
    flying: Plan
    foreseen_m_s: float

    @property
    def cheap(self) -> bool:
        """Whether it costs about what was foreseen."""
        return self.aimed.dv_m_s <= self.foreseen_m_s * (1 + DEARER) + DEARER_M_S


def kept(site: Range, flying: Plan) -> Kept | None:
    """The burns left of a plan, re-aimed from where the case begins; None where that fails."""
    if not flying.commands:
        return None
    foreseen = float(sum(command.dv_m_s for command in flying.commands))
    try:
        aimed = recommand(site, flying.commands, goal=_KEPT_GOAL)
    except FlightError:
        return None
    return None if aimed.broken is not None else Kept(aimed, flying, foreseen)


def trimmed(site: Range, wish: Wish) -> Plan | None:
    """A plan of trims; None where the craft is not near its slot.

    Raises NoPlanError where no trim can be commanded, with the reason.
    """
    try:
        if not standing(site).near:
            return None
    except FlightError:
        return None
    if in_place(site):
        return _plan(site, "in its slot: no trim needed", (), _NO_COMMANDS, ())
    found, refused = trims(site), list[NoPlanError]()
    order = preferred(site, found, wish)
    most = _AT_MOST * min((trim.dv for trim in found), default=0.0) + _AT_MOST_M_S
    for ambition in (GOOD, JUST):
        for trim in order:
            if wish.most_burns is not None and trim.dv > most:
                continue  # fewer burns are not worth that
            try:
                made = _made(site, trim, ambition, wish.most_burns)
            except NoPlanError as refusal:
                refused.append(refusal)
            else:
                return trim_plan(site, *made, [x for x in found if x is not trim])
    if not refused and found:
        refused.append(_refusal("too few burns are left for a cheap one", "burns", float("nan")))
    raise _least(refused) if refused else _too_late(site)


def _made(site: Range, trim: Trim, ambition: Ambition, most: int | None) -> tuple[Candidate, Aimed]:
    """A trim's impulses and commands, with as few burns as will do.

    Raises NoPlanError with the reason where none can be commanded.
    """
    few = sparser(site, trim, ambition)
    refused = []
    for tried in (few, trim) if len(few.burns) < len(trim.burns) else (few,):
        if most is not None and len(tried.burns) > most:
            text = f"it would take {len(tried.burns)} burns, of {most} left"
            refused.append(_refusal(text, "burns", len(tried.burns) - most))
            continue
        try:
            candidate, aimed = aim_trim(site, tried, ambition)
        except FlightError as error:
            refused.append(_refusal(str(error), "aiming", float("nan")))
            continue
        if aimed.broken is None:
            return candidate, aimed
        refused.append(_refusal(aimed.broken.why, aimed.broken.limit, aimed.broken.excess))
    raise _least(refused)


def _refusal(why: str, limit: str, excess: float) -> NoPlanError:
    return NoPlanError(f"no trim can be commanded: {why}", limit=limit, excess=excess)


def _least(refused: list[NoPlanError]) -> NoPlanError:
    """Of refusals by one limit, the nearest miss; that limit being the first's with a number."""
    first = next((x for x in refused if np.isfinite(x.excess)), refused[0])
    same = [x for x in refused if x.limit == first.limit]
    return min(same, key=lambda x: x.excess if np.isfinite(x.excess) else np.inf)


def _too_late(site: Range) -> NoPlanError:
    left, need = site.case.limits.duration_s, shortest_wait(site)
    text = f"the time left is too short: the shortest trim takes {need / 3600:.2f} h"
    return _refusal(text, "duration", need - left)


def preferred(site: Range, found: list[Trim], wish: Wish) -> list[Trim]:
    """The trims in the order that a wish tries them.

    The earliest, the cheapest, or the earliest nearly as cheap first; nearly is within a
    thousandth of what the propellant left is good for.
    """
    room = {"time": np.inf, "dv": 0.0, "balance": _INDIFFERENT * tank_dv(site)}
    return by_preference(found, float(room[wish.prefer]))


def kept_plan(site: Range, kept: Kept) -> Plan:
    """The plan of re-aimed burns; its impulses are the commands', each at its burn's middle."""
    aimed, flying = kept.aimed, kept.flying
    before = {command.burn: command for command in flying.commands}
    purposes = {burn.label: burn.purpose for burn in flying.burns}
    burns = []
    for command, lit in zip(aimed.commands, aimed.lit, strict=True):
        old = before[command.burn]
        moved, more = command.ignition_s - old.ignition_s, command.dv_m_s - old.dv_m_s
        reason = (
            f"Kept from the plan being flown and re-aimed from the estimate: Δv {more:+.3f} m/s, "
            f"ignition {moved:+.1f} s."
        )
        purpose = purposes.get(command.burn, "as planned")
        burns.append(burn_of(command, lit, purpose, reason, site.case.body.gm_m3_s2))
    return _plan(site, "what is left of the plan, re-aimed", tuple(burns), aimed, ())


def trim_plan(site: Range, candidate: Candidate, aimed: Aimed, others: list[Trim]) -> Plan:
    """The plan of a trim, its impulses those that are commanded; other waits as alternatives."""
    gm = site.case.body.gm_m3_s2
    burns = [
        burn_of(command, lit, "trim", "", gm)
        for command, lit in zip(aimed.commands, aimed.lit, strict=True)
    ]
    middles = [
        propagate(lit[:3], lit[3:6], command.duration_s / 2, gm)[1]
        for command, lit in zip(aimed.commands, aimed.lit, strict=True)
    ]
    burns = [
        replace(burn, purpose=_purpose(burn), reason=_reason(site, burns, index, middles[index]))
        for index, burn in enumerate(burns)
    ]
    alternatives = tuple(
        Alternative(
            summary=other.route,
            burns=len(other.burns),
            total_dv_m_s=other.dv,
            arrival_time_s=other.arrival / site.motion.rate,
            why_not=f"{other.dv - aimed.dv_m_s:+.3f} m/s",
        )
        for other in others
    )
    return _plan(site, candidate.route, tuple(burns), aimed, alternatives)


def _plan(
    site: Range,
    summary: str,
    burns: tuple[Burn, ...],
    aimed: Aimed,
    alternatives: tuple[Alternative, ...],
) -> Plan:
    case = site.case
    r, v, now = case.craft.position_m, case.craft.velocity_m_s, 0.0
    for burn in burns:
        r, v = propagate(r, v, burn.time_s - now, case.body.gm_m3_s2)
        v, now = v + burn.dv_m_s, burn.time_s
    return Plan(
        planner=NAME,
        summary=summary,
        burns=burns,
        total_dv_m_s=float(sum(burn.magnitude_m_s for burn in burns)),
        arrival_time_s=now,
        arrival_state=State(position_m=r, velocity_m_s=v),
        lower_bound_dv_m_s=None,
        alternatives=alternatives,
        commands=aimed.commands,
        commanded_dv_m_s=aimed.dv_m_s,
    )


def burn_of(command: Command, lit: Array, purpose: str, reason: str, gm: float) -> Burn:
    """The impulse of a command, where coasting on from its ignition for half its time leads."""
    position, velocity = propagate(lit[:3], lit[3:6], command.duration_s / 2, gm)
    frame = rsw_frame(position, velocity)
    dv = command.dv_m_s * command.direction
    inertial = frame.T @ dv if command.steering == "rsw" else dv
    return Burn(
        label=command.burn,
        purpose=purpose,
        reason=reason,
        time_s=command.ignition_s + command.duration_s / 2,
        position_m=position,
        dv_m_s=inertial,
        dv_rsw_m_s=frame @ inertial,
        magnitude_m_s=command.dv_m_s,
    )


def _purpose(burn: Burn) -> str:
    local = np.abs(burn.dv_rsw_m_s)
    return "plane trim" if local[2] > _SIDEWAYS * max(local[0], local[1]) else "trim"


def _reason(site: Range, burns: list[Burn], index: int, v: Array) -> str:
    """What a trim changes, in numbers, two-body motion; v (3,) is the velocity before it."""
    gm, burn = site.case.body.gm_m3_s2, burns[index]
    r, after = burn.position_m, v + burn.dv_m_s
    old, new = float(period_of(r, v, gm)), float(period_of(r, after, gm))
    tilt = float(np.degrees(angle_between(cross(r, v), cross(r, after))))
    de = float(norm(eccentricity_vector(r, after, gm) - eccentricity_vector(r, v, gm)))
    text = f"Changes the period by {new - old:+.2f} s, the eccentricity vector by {de:.6f}"
    text += f" and the plane by {tilt:.4f} deg."
    if index + 1 < len(burns):
        turns = (burns[index + 1].time_s - burn.time_s) / new
        drift = float(np.degrees(-TAU * (new - old) / old * turns))
        text += f" Until the next burn, {turns:.2f} revolutions later, this moves the craft"
        text += f" {abs(drift):.3f} deg {'ahead' if drift > 0 else 'back'} along the ring."
    return text
