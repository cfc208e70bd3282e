"""Why each burn is where it is, in one or two sentences with numbers."""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.elements import eccentricity_vector
from simcheck.kernels.transfers import (
    apsis_radii,
    coast_to_direction,
    node_direction,
    period_of,
)
from simcheck.kernels.vectors import angle_between, cross, dot, norm, unit
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.problem import Problem, across
from simcheck.planning.worth import MOVED_RAD, UNKNOWN, Worth

_NEAR = np.radians(3.0)  # a point is called a node or an apsis within this
_BESIDE = np.radians(30.0)  # the other node is worth a comparison within this of a node
_ROUND_ORBIT = 1e-4  # eccentricity below which apsides are not worth a word
_TURN = np.radians(0.01)  # turns below this are not worth a word
_WORTH_A_WORD = 0.5  # m/s
_ROUND = 1e-3  # relative change of an apsis worth a word


def purpose(problem: Problem, impulse: Impulse, *, last: bool) -> str:
    """A short fixed word for what an impulse does."""
    turn = _turned(impulse)
    stretch = _period(problem, impulse, after=True) / _period(problem, impulse, after=False)
    shaped = abs(stretch - 1) > _ROUND
    if last:
        return "insertion and plane change" if turn > _TURN else "insertion"
    if turn > _TURN:
        return "apsis and plane change" if shaped else "plane change"
    return "apsis change" if shaped else "trim"


def reason(
    problem: Problem,
    candidate: Candidate,
    index: int,
    *,
    piece: str,
    worth: Worth = UNKNOWN,
) -> str:
    """Sentences for the burn at `index`; piece is such as "part 2 of 3", or empty.

    worth says what leaving it out or making it elsewhere would cost.
    """
    impulse = candidate.impulses[index]
    sentences = [_place(problem, impulse, piece) + ": " + _change(problem, impulse) + "."]
    sentences.append(_other_node(problem, impulse))
    phasing = candidate.phasing
    if phasing is not None and phasing.after == index:
        sentences.append(_phasing(candidate))
    else:
        sentences.append(_long_coast(problem, candidate, index))
    sentences.append(_beneath(problem, candidate, index))
    sentences.append(_worth(worth))
    return " ".join(sentence for sentence in sentences if sentence)


def pieces(candidate: Candidate) -> list[str]:
    """Which part of a split burn each impulse is: those at one point, one after another."""
    groups: list[list[int]] = []
    for i, impulse in enumerate(candidate.impulses):
        same = groups and np.array_equal(
            candidate.impulses[groups[-1][0]].position, impulse.position
        )
        if same and candidate.impulses[groups[-1][0]].purpose == impulse.purpose:
            groups[-1].append(i)
        else:
            groups.append([i])
    return [
        f"part {k + 1} of {len(group)}" if len(group) > 1 else ""
        for group in groups
        for k in range(len(group))
    ]


def _place(problem: Problem, impulse: Impulse, piece: str) -> str:
    names = [x for x in (_node_place(problem, impulse), _apsis_place(problem, impulse)) if x]
    where = " and ".join(names) if names else "On a circular orbit in the ring's plane"
    if piece:
        where = f"{piece[:1].upper()}{piece[1:]}, {where[:1].lower()}{where[1:]}"
    else:
        where = where[:1].upper() + where[1:]
    speed = norm(impulse.before) / 1e3
    return f"{where} (radius {norm(impulse.position) / 1e3:,.0f} km, speed {speed:.3f} km/s)"


def _node_place(problem: Problem, impulse: Impulse) -> str:
    """Where the burn is against the nearer node of the craft's orbit on the aimed plane."""
    line = _node_line(problem, impulse)
    if line is None:
        return ""
    w = unit(cross(impulse.position, impulse.before))
    name = "ascending node"
    if angle_between(impulse.position, line) > np.pi / 2:
        line, name = -line, "descending node"
    return _relative(impulse.position, line, w, f"the {name} on the ring's plane")


def _apsis_place(problem: Problem, impulse: Impulse) -> str:
    """Where the burn is against the nearer apsis."""
    ev = eccentricity_vector(impulse.position, impulse.before, problem.gm)
    if norm(ev) < _ROUND_ORBIT:
        return ""
    w = unit(cross(impulse.position, impulse.before))
    if angle_between(impulse.position, ev) < np.pi / 2:
        return _relative(impulse.position, unit(ev), w, "the periapsis")
    return _relative(impulse.position, -unit(ev), w, "the apoapsis")


def _relative(position: Array, point: Array, normal: Array, name: str) -> str:
    """ "at", "before" or "past" a point of the orbit, with the angle in its plane."""
    ahead = float(np.arctan2(dot(cross(point, position), normal), dot(point, position)))
    if abs(ahead) < _NEAR:
        return f"at {name}"
    return f"{abs(np.degrees(ahead)):.0f}° {'past' if ahead > 0 else 'before'} {name}"


def _node_line(problem: Problem, impulse: Impulse) -> Array | None:
    """Unit vector to the ascending node on the aimed plane, before or else after the burn."""
    for velocity in (impulse.before, impulse.after):
        own = unit(cross(impulse.position, velocity))
        if angle_between(own, problem.normal) > _TURN:
            return node_direction(problem.normal, own, impulse.position)
    return None


def _change(problem: Problem, impulse: Impulse) -> str:
    clauses = []
    before, after = (_tilt_at(problem, impulse, after=x) for x in (False, True))
    if _turned(impulse) > _TURN:
        clauses.append(
            f"turns the plane by {np.degrees(_turned(impulse)):.2f}° "
            f"(tilt against the aim {np.degrees(before):.2f}° to {np.degrees(after):.2f}°)"
        )
    old = apsis_radii(impulse.position, impulse.before, problem.gm)
    new = apsis_radii(impulse.position, impulse.after, problem.gm)
    for name, one, other in zip(("periapsis", "apoapsis"), old, new, strict=True):
        if abs(float(other) / float(one) - 1) > _ROUND:
            verb = "raises" if other > one else "lowers"
            clauses.append(f"{verb} the {name} radius {one / 1e3:,.0f} to {other / 1e3:,.0f} km")
    times = [_period(problem, impulse, after=x) / 3600 for x in (False, True)]
    clauses.append(f"period {times[0]:.3f} h to {times[1]:.3f} h")
    return ", ".join(clauses)


def _other_node(problem: Problem, impulse: Impulse) -> str:
    """What the same turn would cost at the other node."""
    turn = _turned(impulse)
    line = _node_line(problem, impulse)
    if turn < _TURN or line is None:
        return ""
    off = angle_between(impulse.position, line)
    if min(off, np.pi - off) > _BESIDE:
        return ""
    _, position, velocity = coast_to_direction(
        impulse.position, impulse.before, -impulse.position, problem.gm
    )
    here = across(impulse.position, impulse.before)
    there = across(position, velocity)
    cost = [2 * speed * np.sin(turn / 2) for speed in (here, there)]
    if abs(cost[1] - cost[0]) < _WORTH_A_WORD:
        return ""
    word = "more" if cost[1] > cost[0] else "less"
    note = "" if cost[1] > cost[0] else ", but the rest of the plan then costs more"
    return (
        f"The craft crosses the radius at {here / 1e3:.3f} km/s here and at "
        f"{there / 1e3:.3f} km/s on the opposite side, where the turn alone would cost "
        f"{abs(cost[1] - cost[0]):.1f} m/s {word}{note}."
    )


def _phasing(candidate: Candidate) -> str:
    phasing = candidate.phasing
    if phasing is None:
        return ""
    turns = f"{phasing.revolutions} revolution{'s' if phasing.revolutions > 1 else ''}"
    lets = "lets" if phasing.revolutions == 1 else "let"
    text = f"{turns} of {phasing.period_s / 3600:.4f} h on this orbit {lets} the slot come round"
    if phasing.revolutions == 1:
        return text + "."
    if not np.isfinite(phasing.one_fewer_dv):
        return text + "; one fewer would need an orbit that the limits forbid."
    more = phasing.one_fewer_dv - candidate.dv
    if more < 0.05:
        return text + "; one fewer would cost the same."
    return text + f"; one fewer would cost {more:.1f} m/s more."


def _long_coast(problem: Problem, candidate: Candidate, index: int) -> str:
    """How long the orbit after a burn is kept, where that is more than a revolution."""
    if index + 1 >= len(candidate.impulses):
        return ""
    impulse, then = candidate.impulses[index : index + 2]
    period = _period(problem, impulse, after=True)
    turns = (then.time - impulse.time) / period
    if not 1.01 < turns < np.inf:
        return ""
    return f"The next burn comes {turns:.2f} revolutions later."


def _beneath(problem: Problem, candidate: Candidate, index: int) -> str:
    """A warning where the orbit after a burn relies on the next one."""
    if index + 1 >= len(candidate.impulses):
        return ""
    impulse = candidate.impulses[index]
    low, high = apsis_radii(impulse.position, impulse.after, problem.gm)
    if low < problem.min_radius_m * (1 - _ROUND):
        return (
            f"The next burn must not fail: the periapsis of this orbit, radius {low / 1e3:,.0f} km,"
            " lies below min_altitude."
        )
    if high > problem.max_radius_m * (1 + _ROUND):
        return "The next burn must not fail: the apoapsis of this orbit lies beyond max_radius."
    return ""


def _worth(worth: Worth) -> str:
    """What the plan would cost without this burn, and with it elsewhere."""
    if np.isnan(worth.without):
        return ""
    if np.isinf(worth.without):
        text = "Left out, no plan of the other burns was found that arrives in time"
    else:
        text = (
            f"Left out, with the others re-optimised, the plan costs {worth.without:.1f} m/s more"
        )
    if np.isnan(worth.moved):
        return text + "."
    more = f"{worth.moved:.1f}" if worth.moved >= _WORTH_A_WORD / 10 else "less than 0.1"
    return f"{text}; made {np.degrees(MOVED_RAD):.0f}° earlier or later, {more} m/s more."


def _tilt(problem: Problem, normal: Array) -> float:
    return float(angle_between(unit(normal), problem.normal))


def _tilt_at(problem: Problem, impulse: Impulse, *, after: bool) -> float:
    velocity = impulse.after if after else impulse.before
    return _tilt(problem, cross(impulse.position, velocity))


def _turned(impulse: Impulse) -> float:
    """Angle between the orbit planes before and after, rad."""
    one = cross(impulse.position, impulse.before)
    other = cross(impulse.position, impulse.after)
    return float(angle_between(one, other))


def _period(problem: Problem, impulse: Impulse, *, after: bool) -> float:
    velocity = impulse.after if after else impulse.before
    return float(period_of(impulse.position, velocity, problem.gm))
