"""From routes to an ordered list of dated candidates, and the trade between Δv and time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from simcheck.kernels.vectors import norm
from simcheck.planning.candidates import Candidate
from simcheck.planning.optimum import optimal_routes
from simcheck.planning.phasing import Offer, build, offers, open_candidate
from simcheck.planning.problem import Problem, across
from simcheck.planning.rendezvous import timed_candidates
from simcheck.planning.routes import Route, handbook_routes

ARCS = (0.35, 0.7, 1.2)
"""Angles in rad that one burn may sweep, tried in turn: losses of 0.5, 2 and 6 %."""

_STARTS = 60  # phased candidates that the timed search starts from
_WORTH = 1e-3  # a timed plan has to save this share, since a phased one is easier to explain

INDIFFERENT = 0.005
"""Among plans within this share of the cheapest the earliest is chosen."""


class Entry(NamedTuple):
    """A candidate not built yet, or already dated; dv in m/s and arrival in s to rank it."""

    dv: float
    arrival: float
    route: str
    made: Offer | Candidate

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


def search(problems: list[Problem], *, timed: bool = True) -> Search:
    """Search with one allowed sweep after another; the cheapest with its losses wins.

    problems differ only in arc_rad, finest first. timed also optimises for the time allowed, where
    that keeps the floor out of reach.
    """
    routes = all_routes(problems[0])
    floor = min((route.dv for route in routes), default=np.inf)
    best: Search | None = None
    cheapest = np.inf
    for problem in problems:
        entries = [e for e in _entries(problem, routes) if e.dv <= problem.dv_m_s]
        if entries:
            cost = min(e.dv for e in entries) * (1 + problem.arc_rad**2 / 24)
            if best is None or cost < cheapest * (1 - INDIFFERENT):
                best, cheapest = Search(problem, _ordered(entries), floor), cost
        if cheapest <= floor * (1 + problem.arc_rad**2 / 24 + INDIFFERENT):
            break  # a longer sweep saves time, not Δv
        if not _splits(problem, routes):
            break
    least = min((e.dv for e in best.entries), default=np.inf) if best is not None else np.inf
    if timed and least > floor * (1 + INDIFFERENT) and floor <= problem.dv_m_s:
        best = _with_timed(problem, best, routes, floor)
    return best if best is not None else Search(problems[0], [], floor)


def _with_timed(
    problem: Problem, best: Search | None, routes: list[Route], floor: float
) -> Search | None:
    """Add plans optimised for the time allowed, where the phase keeps the floor out of reach."""
    if not (problem.aims_phase and problem.aims_circle and problem.aims_plane):
        return best
    use = best.problem if best is not None else problem
    near = sorted(_entries(use, routes), key=lambda e: (e.dv, e.arrival))[:_STARTS]
    given = [x for x in (entry.candidate(use) for entry in near) if x is not None]
    bar = min((e.dv for e in best.entries), default=np.inf) if best is not None else np.inf
    bar = min(bar * (1 - _WORTH), use.dv_m_s)
    timed = [
        Entry(c.dv, c.arrival, c.route, c) for c in timed_candidates(use, given) if c.dv <= bar
    ]
    entries = [*(best.entries if best is not None else []), *timed]
    return Search(use, _ordered(entries), floor) if entries else None


def all_routes(problem: Problem) -> list[Route]:
    """Handbook routes, and the optimum among all transfers where a circular ring is aimed at."""
    routes = handbook_routes(problem)
    return [*optimal_routes(problem, routes), *routes] if problem.aims_circle else routes


def _entries(problem: Problem, routes: list[Route]) -> Iterator[Entry]:
    for route in routes:
        if problem.aims_phase:
            for offer in offers(problem, route):
                yield Entry(offer.dv, offer.arrival, route.name, offer)
        else:
            candidate = open_candidate(problem, route)
            if candidate is not None:
                yield Entry(candidate.dv, candidate.arrival, route.name, candidate)


def _ordered(entries: list[Entry]) -> list[Entry]:
    """The earliest of the nearly cheapest first, then the rest by Δv and time.

    To the second and the cm/s: plans that differ by rounding alone are told apart by their waits.
    """
    bar = min(e.dv for e in entries) * (1 + INDIFFERENT) + 1e-6
    near = [e for e in entries if e.dv <= bar]
    rest = [e for e in entries if e.dv > bar]
    near.sort(key=lambda e: (round(e.arrival), round(e.dv, 2), sum(e.made.waits)))
    rest.sort(key=lambda e: (round(e.dv, 2), round(e.arrival), sum(e.made.waits)))
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


def trade(entries: list[Entry]) -> list[Entry]:
    """Entries that no other beats in both Δv and arrival, in order of arrival."""
    front: list[Entry] = []
    for entry in sorted(entries, key=lambda e: (e.arrival, e.dv)):
        if not front or entry.dv < front[-1].dv * (1 - 1e-4):
            front.append(entry)
    return front
