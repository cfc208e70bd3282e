"""From routes to an ordered list of dated candidates, and the trade between Δv and time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from simcheck.kernels.vectors import norm
from simcheck.planning.candidates import Candidate
from simcheck.planning.finishing import finished
from simcheck.planning.optimum import optimal_routes
from simcheck.planning.phasing import Offer, build, offers, open_candidate
from simcheck.planning.problem import Problem, across
from simcheck.planning.rendezvous import timed_candidates
from simcheck.planning.routes import Route, handbook_routes
from simcheck.records.wish import Preference, Wish

ARCS = (0.35, 0.7, 1.2)
"""Angles in rad that one burn may sweep, tried in turn: losses of 0.5, 2 and 6 %."""

_STARTS = 60  # phased candidates that the timed search starts from
_ROUNDS, _FEW_ROUNDS = 3, 1  # of the timed search: for the least Δv, or only for what is quicker
_QUICK_ROUTES = 6
_WITH_ROOM = 1e-3  # of a ring period: room for the plan that reaches the floor
_APART = 0.005  # share by which plans in the table of the trade differ
_SAME = 1e-4  # plans within this share of the cheapest cost the same

_REMEMBERED = 32  # starts and rings whose routes are kept, 10 kB each
_routes: dict[tuple[bytes | float | bool, ...], tuple[Route, ...]] = {}

INDIFFERENT = 0.0045
"""Among plans within this share of the cheapest the earliest is chosen.

Half a per cent, less a tenth of it for what the search may have missed of the cheapest."""


class Entry(NamedTuple):
    """A candidate not built yet, or already dated; dv in m/s and arrival in s to rank it."""

    dv: float
    arrival: float
    route: str
    made: Offer | Candidate

    @property
    def waits(self) -> int:
        """Waiting revolutions."""
        return sum(self.made.waits)

    def candidate(self, problem: Problem) -> Candidate | None:
        """The dated candidate; None where building it finds a broken limit."""
        return build(problem, self.made) if isinstance(self.made, Offer) else self.made


class Search(NamedTuple):
    """What a search found: the problem it solved, its entries in order of preference, the floor.

    floor is the least Δv in m/s of any route, time left open.
    """

    problem: Problem
    entries: list[Entry]
    floor: float


def search(
    problems: list[Problem],
    wish: Wish | None = None,
    *,
    timed: bool = True,
    routes: list[Route] | None = None,
) -> Search:
    """Search with one allowed sweep after another; the cheapest with its losses wins.

    problems differ only in arc_rad, finest first. timed also optimises times and vectors together:
    for the time allowed where that keeps the floor out of reach, else for less time than the floor
    takes. routes, where given, are those looked at instead of all.
    """
    wish = wish or Wish()
    if routes is None:
        routes = all_routes(problems[0], quick=wish.effort == 0)
    floor = min((route.dv for route in routes), default=np.inf)
    best, problem = _phased(problems, routes, floor)
    if best is not None:
        best = best._replace(entries=ordered(best.entries, wish.prefer))
    if not timed or not floor <= problem.dv_m_s or not _meets_slot(problem):
        return best if best is not None else Search(problems[0], [], floor)
    use = best.problem if best is not None else problem
    entries = best.entries if best is not None else []
    found = _timed(use, entries, routes, floor, wish)
    return Search(use, _finished(use, ordered([*entries, *found], wish.prefer), floor), floor)


def _phased(
    problems: list[Problem], routes: list[Route], floor: float
) -> tuple[Search | None, Problem]:
    """Routes phased in closed form, and the last problem looked at."""
    best: Search | None = None
    cheapest = np.inf
    problem = problems[0]
    for problem in problems:
        entries = [e for e in _entries(problem, routes) if e.dv <= problem.dv_m_s]
        if entries:
            cost = min(e.dv for e in entries) * (1 + problem.arc_rad**2 / 24)
            if best is None or cost < cheapest * (1 - INDIFFERENT):
                best, cheapest = Search(problem, entries, floor), cost
        if cheapest <= floor * (1 + problem.arc_rad**2 / 24 + INDIFFERENT):
            break  # a longer sweep saves time, not Δv
        if not _splits(problem, routes):
            break
    return best, problem


def _meets_slot(problem: Problem) -> bool:
    return problem.aims_phase and problem.aims_circle and problem.aims_plane


def _timed(
    problem: Problem, entries: list[Entry], routes: list[Route], floor: float, wish: Wish
) -> list[Entry]:
    """Entries optimised over times and vectors, none later than a plan that reaches the floor."""
    reached = [e for e in entries if e.dv <= floor * (1 + INDIFFERENT) + 1e-6]
    within = problem
    if reached:
        soonest = min(e.arrival for e in reached)
        room = _WITH_ROOM * problem.motion.period_s
        within = replace(problem, end_s=min(problem.end_s, soonest + room))
    near = [e for e in entries or _entries(within, routes) if e.arrival < within.end_s]
    near = [*entries[:1], *sorted(near, key=lambda e: (e.dv, e.arrival))[:_STARTS]]
    given = [x for x in (entry.candidate(within) for entry in near) if x is not None]
    made = timed_candidates(within, given, wish, rounds=_FEW_ROUNDS if reached else _ROUNDS)
    return [_entry(c) for c in made if c.dv <= problem.dv_m_s]


def _finished(problem: Problem, entries: list[Entry], floor: float) -> list[Entry]:
    """The entries with the first one brought to its local optimum, unless it costs the floor."""
    if not entries or entries[0].dv < floor * (1 + _SAME):
        return entries
    rough = entries[0].candidate(problem)
    if rough is None:
        return entries
    fine = finished(problem, rough)
    return [entries[0] if fine is rough else _entry(fine), *entries[1:]]


def _entry(candidate: Candidate) -> Entry:
    return Entry(candidate.dv, candidate.arrival, candidate.route, candidate)


def all_routes(problem: Problem, *, quick: bool = False) -> list[Route]:
    """Handbook routes, and the optimum among all transfers where a circular ring is aimed at.

    quick keeps the cheapest few. The last ones are kept: routes leave time open, so that those to
    one slot of a ring are those to all.
    """
    vectors = (problem.position_m, problem.velocity_m_s, problem.normal)
    key: tuple[bytes | float | bool, ...] = (
        *(vector.tobytes() for vector in vectors),
        *(problem.gm, problem.radius_m, problem.min_radius_m, problem.max_radius_m),
        *(problem.aims_plane, problem.aims_circle, problem.aims_period, problem.aims_phase),
        quick,
    )
    if key not in _routes:
        if len(_routes) >= _REMEMBERED:
            del _routes[next(iter(_routes))]
        _routes[key] = tuple(_searched(problem, quick=quick))
    return list(_routes[key])


def _searched(problem: Problem, *, quick: bool) -> list[Route]:
    routes = handbook_routes(problem)
    if not problem.aims_circle:
        return routes
    routes = [*optimal_routes(problem, routes, quick=quick), *routes]
    return sorted(routes, key=lambda route: route.dv)[:_QUICK_ROUTES] if quick else routes


def _entries(problem: Problem, routes: list[Route]) -> Iterator[Entry]:
    for route in routes:
        if problem.aims_phase:
            for offer in offers(problem, route):
                yield Entry(offer.dv, offer.arrival, route.name, offer)
        else:
            candidate = open_candidate(problem, route)
            if candidate is not None:
                yield Entry(candidate.dv, candidate.arrival, route.name, candidate)


def ordered(entries: list[Entry], prefer: Preference) -> list[Entry]:
    """Entries in order of preference: those that the preference calls equal first.

    To the second and the cm/s: plans that differ by rounding alone are told apart by their waits.
    """
    if not entries:
        return []
    if prefer == "time":
        return sorted(entries, key=lambda e: (round(e.arrival), round(e.dv, 2), e.waits))
    share = INDIFFERENT if prefer == "balance" else _SAME
    bar = min(e.dv for e in entries) * (1 + share) + 1e-6
    near = [e for e in entries if e.dv <= bar]
    rest = [e for e in entries if e.dv > bar]
    near.sort(key=lambda e: (round(e.arrival), round(e.dv, 2), e.waits))
    rest.sort(key=lambda e: (round(e.dv, 2), round(e.arrival), e.waits))
    return near + rest


def _splits(problem: Problem, routes: list[Route]) -> bool:
    """Whether any burn of a good route has to be split."""
    bar = 1.1 * min((route.dv for route in routes), default=0.0)
    return any(
        leg.dv > problem.longest_dv(float(norm(leg.position)), across(leg.position, leg.before))
        for route in routes
        if route.dv <= bar
        for leg in route.legs
    )


def trade(entries: list[Entry], *, most: int) -> list[Entry]:
    """Entries that no other beats in both Δv and arrival, in order of arrival.

    Thinned from the cheapest on so that each costs some share more than the one that comes later,
    half a per cent or as much as leaves at most so many.
    """
    front: list[Entry] = []
    for entry in sorted(entries, key=lambda e: (float(f"{e.dv:.5g}"), e.arrival)):
        if not front or entry.arrival < front[-1].arrival - 1.0:
            front.append(entry)
    if not front:
        return []
    step = _APART
    while len(kept := _thinned(front, step)) > most:
        step *= 1.5
    return kept[::-1]


def _thinned(front: list[Entry], step: float) -> list[Entry]:
    """From the cheapest on, those that cost a share `step` more than the last one kept."""
    kept = front[:1]
    for entry in front[1:]:
        if entry.dv > kept[-1].dv * (1 + step):
            kept.append(entry)
    return kept
