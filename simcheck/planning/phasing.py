"""Meeting the moving slot: waiting revolutions, and one burn parted over two passes.

A route leaves time open. Whole revolutions spent on any of its orbits, and k revolutions on an
orbit between two parts of one burn, shift the arrival; the period of that orbit is what makes it
meet the slot. While the parted burn runs along the same line the phase costs nothing; past either
end of the line it costs twice the excess. Everything is in closed form and vectorised over arrival
times, waits and k.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.elements import equinoctial_from_state
from simcheck.kernels.transfers import (
    apsis_radii,
    coast_to_direction,
    period_of,
    speed_for_period,
)
from simcheck.kernels.vectors import dot, norm, unit
from simcheck.planning.candidates import Candidate, Impulse, Phasing
from simcheck.planning.problem import Problem, across
from simcheck.planning.routes import Leg, Route

MAX_PIECES = 40
"""A burn that would need more pieces than this is left to low-thrust tools."""

_WAITS_FIRST = 24
_WAITS_LATER = 2
_SPARES = 6
_RADIUS_SLACK = 1.0  # m; an orbit may touch a limit that an apsis was put on


class _Option(NamedTuple):
    """One way to phase a route: leg parted, pieces before and after the free velocity."""

    route: Route
    leg: int
    start: Array
    end: Array
    heads: tuple[Array, ...]
    tails: tuple[Array, ...]
    line: str
    longest: float


class Offer(NamedTuple):
    """The cheapest phasing of one option for one arrival; `build` dates it."""

    dv: float
    arrival: float
    option: _Option
    waits: tuple[int, ...]
    revolutions: int
    velocity: Array


def open_candidate(problem: Problem, route: Route) -> Candidate | None:
    """The route flown as soon as possible, for a case that leaves the phase free."""
    pieces = [_pieces(problem, leg) for leg in route.legs]
    if any(piece is None for piece in pieces):
        return None
    wait = [0] * len(route.legs)
    if route.legs and route.coasts[0] < _lead(problem, route.legs[0]):
        wait[0] = 1
    chains = [[*p, leg.after] for p, leg in zip(pieces, route.legs, strict=True) if p is not None]
    candidate = _dated(problem, route, chains, tuple(wait), None)
    good = candidate.arrival <= problem.end_s and _orbits_fit(problem, candidate)
    return candidate if good else None


def offers(problem: Problem, route: Route) -> list[Offer]:
    """For each passage of the slot and each option, the cheapest way to meet it."""
    found: list[Offer] = []
    for option in _options(problem, _with_leg(problem, route)):
        found.extend(_cheapest_offers(problem, option))
    return found


def build(problem: Problem, offer: Offer) -> Candidate | None:
    """Date an offer; None where burns overlap or an orbit breaks a limit."""
    option, route = offer.option, offer.option.route
    chains = []
    for index, leg in enumerate(route.legs):
        if index == option.leg:
            chains.append([*option.heads, offer.velocity, *option.tails, leg.after])
        else:
            chains.append([*(_pieces(problem, leg) or []), leg.after])
    before = sum(len(chain) for chain in chains[: option.leg]) + len(option.heads)
    period = float(period_of(route.legs[option.leg].position, offer.velocity, problem.gm))
    phasing = Phasing(before, offer.revolutions, period, _one_fewer(problem, offer))
    candidate = _dated(problem, route, chains, offer.waits, phasing)
    return candidate if _orbits_fit(problem, candidate) else None


def _with_leg(problem: Problem, route: Route) -> Route:
    """A route without legs gets an empty one, where phasing can begin and end."""
    if route.legs:
        return route
    lead = 0.01 * problem.period_s
    direction = problem.position_m + problem.velocity_m_s * lead
    tof, position, velocity = coast_to_direction(
        problem.position_m, problem.velocity_m_s, unit(direction), problem.gm
    )
    return Route(route.name, (Leg("phasing", position, velocity, velocity),), (tof,))


def _options(problem: Problem, route: Route) -> Iterator[_Option]:
    for index, leg in enumerate(route.legs):
        fixed = _pieces(problem, leg)
        if fixed is None:
            return
        longest = problem.longest_dv(float(norm(leg.position)), across(leg.position, leg.before))
        if leg.dv > 0:
            for heads, tails in _room(leg, longest):
                start = heads[-1] if heads else leg.before
                end = tails[0] if tails else leg.after
                yield _Option(route, index, start, end, heads, tails, "chord", longest)
        heads = (*fixed, leg.after) if fixed else ()
        start = leg.after if fixed else leg.before
        yield _Option(route, index, start, leg.after, heads, (), "after", longest)
        if not fixed and leg.dv > 0:
            yield _Option(route, index, leg.before, leg.after, (), (), "before", longest)


def _room(leg: Leg, longest: float) -> Iterator[tuple[tuple[Array, ...], tuple[Array, ...]]]:
    """Full pieces before and after a stretch of the burn's line on which a part may end."""
    full = int(np.ceil(leg.dv / longest)) - 1
    step = longest / leg.dv
    for ahead in {0, full // 2, full}:
        behind = full - ahead
        heads = tuple(_on_line(leg, step * (i + 1)) for i in range(ahead))
        tails = tuple(_on_line(leg, 1 - step * (behind - i)) for i in range(behind))
        yield heads, tails


def _on_line(leg: Leg, share: float) -> Array:
    return np.asarray(leg.before + share * (leg.after - leg.before))


def _pieces(problem: Problem, leg: Leg) -> tuple[Array, ...] | None:
    """Velocities between the equal pieces of a burn; None where there would be too many."""
    longest = problem.longest_dv(float(norm(leg.position)), across(leg.position, leg.before))
    count = int(np.ceil(leg.dv / longest)) if longest > 0 else MAX_PIECES + 1
    if count > MAX_PIECES:
        return None
    return tuple(_on_line(leg, i / count) for i in range(1, count))


def _cheapest_offers(problem: Problem, option: _Option) -> list[Offer]:
    """Vectorised over arrivals (q), waits (w) and revolutions (k)."""
    route, gm = option.route, problem.gm
    fixed = _fixed_time(problem, option)
    waits = _waits(problem, option, fixed)
    if not np.isfinite(fixed) or not len(waits):
        return []
    leg = route.legs[option.leg]
    periods = np.array([period_of(x.position, x.before, gm) for x in route.legs])
    start = problem.start_s + fixed + waits @ periods
    passages = _passages(problem, route, float(start.min()))
    if not len(passages):
        return []
    gap = passages[:, None, None] - start[None, :, None]
    counts = _counts(gap, leg.position, option, gm)
    with np.errstate(all="ignore"):
        period = np.where((counts > 0) & (gap > 0), gap / counts, np.nan)
    places = _places(leg, option, period, gm)
    cost = _cost(problem, leg, option, places)
    flat = cost.reshape(len(passages), -1)
    best = np.argmin(flat, axis=1)
    others = sum(x.dv for i, x in enumerate(route.legs) if i != option.leg)
    others += (
        option.longest * (len(option.heads) + len(option.tails))
        if (option.line == "chord")
        else (leg.dv if option.heads else 0.0)
    )
    lowest = flat[np.arange(len(passages)), best]
    result = []
    for q in _worth_keeping(lowest):
        at = best[q]
        w, k = np.unravel_index(at, cost.shape[1:])
        result.append(
            Offer(
                float(lowest[q] + others),
                float(passages[q]),
                option,
                tuple(int(n) for n in waits[w]),
                int(counts[q, w, k]),
                _velocity(option, places[q, w, k]),
            )
        )
    return result


def _worth_keeping(costs: Array) -> list[int]:
    """Passages cheaper than every earlier one, and some later spares as cheap as the cheapest."""
    finite = np.where(np.isfinite(costs), costs, np.inf)
    if not len(finite) or not np.isfinite(finite.min()):
        return []
    earlier = np.concatenate([[np.inf], np.minimum.accumulate(finite)[:-1]])
    better = np.flatnonzero(finite < earlier * (1 - 1e-9) - 1e-9)
    spares = np.flatnonzero(finite <= finite.min() * (1 + 1e-3) + 1e-3)[:_SPARES]
    return sorted({*better.tolist(), *spares.tolist()})


def _fixed_time(problem: Problem, option: _Option) -> float:
    """Time of all coasts and whole revolutions that the option does not choose, s."""
    route, total = option.route, sum(option.route.coasts)
    for index, leg in enumerate(route.legs):
        if index == option.leg:
            inner: tuple[Array, ...] = (*option.heads, *option.tails)
        else:
            inner = _pieces(problem, leg) or ()
        total += sum(float(period_of(leg.position, v, problem.gm)) for v in inner)
    return total


def _waits(problem: Problem, option: _Option, fixed: float) -> Array:
    """Rows of waiting revolutions before each leg, (w, legs)."""
    route = option.route
    legs = route.legs
    first = float(period_of(legs[0].position, legs[0].before, problem.gm))
    least = int(route.coasts[0] < _lead(problem, legs[0]))
    room = (problem.end_s - problem.start_s - fixed) / first
    most = int(np.clip(room, least, _WAITS_FIRST)) if np.isfinite(room) else least
    rows = []
    for ahead in range(least, most + 1):
        rows.append([ahead] + [0] * (len(legs) - 1))
        for later in range(1, len(legs)):
            for wait in range(1, _WAITS_LATER + 1):
                row = [ahead] + [0] * (len(legs) - 1)
                row[later] = wait
                rows.append(row)
    return np.array(rows, dtype=np.float64).reshape(-1, len(legs))


def _lead(problem: Problem, leg: Leg) -> float:
    """Half the length in s of a leg's first piece: it may not begin before the epoch."""
    longest = problem.longest_dv(float(norm(leg.position)), across(leg.position, leg.before))
    return 0.55 * min(leg.dv, longest) * problem.mass_kg / problem.engine.thrust_n


def _passages(problem: Problem, route: Route, earliest: float) -> Array:
    """Times at which the slot is where the route ends, from `earliest` to the limit."""
    motion, last = problem.motion, route.legs[-1]
    frame = motion.frame(0.0)
    there = equinoctial_from_state(frame @ last.position, frame @ last.after, problem.gm)
    ahead = float(there.longitude) - float(motion.longitude(problem.slot, 0.0))
    first = ahead / motion.rate
    n = np.arange(
        np.ceil((earliest - first) / motion.period_s),
        np.floor((problem.end_s - first) / motion.period_s) + 1,
    )
    return first + n * motion.period_s


def _counts(gap: Array, position: Array, option: _Option, gm: float) -> Array:
    """Revolutions worth trying: those whose period is next to that before or after the burn."""
    columns = []
    for velocity in (option.start, option.end):
        base = np.floor(gap / float(period_of(position, velocity, gm)))
        columns += [base - 1, base, base + 1, base + 2]
    return np.concatenate(columns, axis=2)


class _Line(NamedTuple):
    """Velocities base + x * along that a phasing orbit may begin with, at one point."""

    base: Array
    along: Array


def _line(option: _Option) -> _Line:
    if option.line == "chord":
        return _Line(option.start, unit(option.end - option.start))
    return _Line(np.zeros(3), unit(option.end if option.line == "after" else option.start))


def _places(leg: Leg, option: _Option, period: Array, gm: float) -> Array:
    """Places x (m/s) on the option's line with this period, NaN where there is none."""
    line = _line(option)
    speed = speed_for_period(norm(leg.position), period, gm)
    along = float(dot(line.base, line.along))
    with np.errstate(all="ignore"):
        root = np.sqrt(speed**2 - float(dot(line.base, line.base)) + along**2)
    if option.line != "chord":
        return np.asarray(root)
    middle = float(norm(option.end - option.start)) / 2
    low, high = -along - root, -along + root
    return np.where(np.abs(low - middle) < np.abs(high - middle), low, high)


def _velocity(option: _Option, place: Array) -> Array:
    """Velocity (..., 3) at places on the option's line."""
    line = _line(option)
    return np.asarray(line.base + np.asarray(place)[..., None] * line.along)


def _cost(problem: Problem, leg: Leg, option: _Option, place: Array) -> Array:
    """Δv of the two free parts in m/s; infinite where a limit is broken."""
    line, gm = _line(option), problem.gm
    radius = float(norm(leg.position))

    def gap(velocity: Array) -> Array:
        away = line.base - velocity
        flat = place**2 + 2 * place * float(dot(away, line.along)) + float(dot(away, away))
        return np.sqrt(np.maximum(flat, 0.0))

    with np.errstate(all="ignore"):
        to, on = gap(option.start), gap(option.end)
        up = unit(leg.position)
        square = place**2 + 2 * place * float(dot(line.base, line.along))
        square = square + float(dot(line.base, line.base))
        climb = float(dot(line.base, up)) + place * float(dot(line.along, up))
        p = radius**2 * (square - climb**2) / gm
        e = np.sqrt(np.maximum(1 - p * (2 / radius - square / gm), 0.0))
        good = (
            (to <= option.longest * 1.000001)
            & (on <= option.longest * 1.000001)
            & (p / (1 + e) >= problem.min_radius_m - _RADIUS_SLACK)
            & (p / (1 - e) <= problem.max_radius_m + _RADIUS_SLACK)
            & (e < 1)
        )
    return np.where(good, to + on, np.inf)


def _one_fewer(problem: Problem, offer: Offer) -> float:
    """Total Δv in m/s with one revolution fewer, arriving then or up to two turns earlier."""
    option = offer.option
    leg = option.route.legs[option.leg]
    if offer.revolutions < 2:
        return float("nan")
    period = period_of(leg.position, offer.velocity, problem.gm)
    gap = period * offer.revolutions - np.arange(3) * problem.motion.period_s
    periods = np.where(gap > 0, gap, np.nan) / (offer.revolutions - 1)
    now = norm(offer.velocity - option.start) + norm(option.end - offer.velocity)
    other = np.min(_cost(problem, leg, option, _places(leg, option, periods, problem.gm)))
    return float(offer.dv - now + other) if np.isfinite(other) else float("nan")


def _dated(
    problem: Problem,
    route: Route,
    chains: list[list[Array]],
    waits: tuple[int, ...],
    phasing: Phasing | None,
) -> Candidate:
    """Lay the pieces of each leg on a time line; chains hold the velocities after each piece."""
    time, impulses = problem.start_s, list[Impulse]()
    for leg, coast, wait, chain in zip(route.legs, route.coasts, waits, chains, strict=True):
        time += coast + wait * float(period_of(leg.position, leg.before, problem.gm))
        before = leg.before
        for index, after in enumerate(chain):
            impulses.append(Impulse(leg.purpose, leg.position, before, after, time))
            if index < len(chain) - 1:
                held = phasing is not None and phasing.after == len(impulses) - 1
                turns = phasing.revolutions if held and phasing is not None else 1
                time += turns * float(period_of(leg.position, after, problem.gm))
            before = after
    return Candidate(route.name, tuple(impulses), waits, phasing)


def _orbits_fit(problem: Problem, candidate: Candidate) -> bool:
    """Whether each orbit keeps the radius limits and no two burns overlap in time."""
    for impulse in candidate.impulses[:-1]:
        low, high = apsis_radii(impulse.position, impulse.after, problem.gm)
        if low < problem.min_radius_m - _RADIUS_SLACK:
            return False
        if high > problem.max_radius_m + _RADIUS_SLACK:
            return False
    acceleration = problem.engine.thrust_n / problem.mass_kg
    lengths = [float(norm(x.dv)) / acceleration for x in candidate.impulses]
    times = [x.time for x in candidate.impulses]
    pairs = zip(times, times[1:], lengths, lengths[1:], strict=False)
    return all(t2 - t1 > 0.55 * (d1 + d2) for t1, t2, d1, d2 in pairs)
