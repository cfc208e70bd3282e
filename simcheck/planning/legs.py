"""What is left of a plan flown without errors, and what changes of it do: a linear model for many.

Flights of one plan differ little, so the slopes of the flight without errors serve all of them.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.near_circular import responses
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import TAU, cross, norm, unit
from simcheck.planning.burns import Burns
from simcheck.planning.commanding import Range, commanded_burns
from simcheck.planning.lane_errors import tolerances
from simcheck.planning.shooting import Flown, Shooter, swept
from simcheck.records.plan import Plan

TURNS = (0, 1, 2, 3, 5, 10, 20)
"""Revolutions to the rest of the last burn; 0: it is not parted."""

PRICES = np.array([0.02, 1 / 3, 1 / 2, 1 / 2, 1, 1])
"""What trimming an error takes, over the circular speed: Gauss' equations for a circle; a phase by
two changes of the period some five revolutions apart."""

_REST_M_S = 2.0  # the usual size of a rest, for the metric
_MET = 20.0  # how much more phase and period count where a rest can meet them
_EARLY = 5  # places for a small burn before the next
_EDGE = 0.03  # revolutions of the ring that such a burn keeps clear of what is before and after
_LOOKS = 60  # at which the angle swept on a coast is added up
_HELD_FROM, _HELD = 0.93, 0.03  # share of max_burn from which a burn hardly changes


class Option(NamedTuple):
    """One way to end: the rest of the last burn made `turns` revolutions after it, 0 for none.

    change (4q, 6) turns errors into the best change of the burns: for each the angle by which its
    place is turned along the orbit, then its Δv (3) in steering axes. rest (3, 6) is the rest's Δv,
    left (6, 6) what is left of the errors after it.
    """

    turns: int
    change: Array
    rest: Array
    left: Array


class Leg(NamedTuple):
    """What is left of the plan from one of its burns on, as flown without errors.

    early: the first of them is none of the plan's, but room for a small one. slopes (6, 4q) are
    what changes of the burns do to the errors. axes (q, 3) are the orbits' normals, dates (q,) when
    the burns begin.
    """

    early: bool
    burns: Burns
    axes: Array
    dates: Array
    slopes: Array
    options: tuple[Option, ...]


class Legs:
    """A plan as flown without errors, parted at its burns.

    tolerance (6,) of the errors, infinite where not judged; speed on the ring's circle, m/s. Raises
    FlightError where the plan's commands cannot be flown.
    """

    def __init__(self, site: Range, plan: Plan) -> None:
        self.site = site
        self.tolerance = tolerances(site.case.tolerance, site.motion.period_s)
        self.judged = np.isfinite(self.tolerance)
        self.speed = float(np.sqrt(site.case.body.gm_m3_s2 / site.motion.radius_m))
        self._burns = commanded_burns(site, plan.commands)
        self._flown = Shooter(site.setup, site.propagator, 1.0).fly(self._burns)
        self._made: dict[int, list[Leg]] = {}

    def of(self, first: int) -> list[Leg]:
        """What is left from a burn on: as planned, and with room for a small burn before."""
        if first not in self._made:
            whole, flown = self._burns, self._flown
            burns = Burns(
                whole.places[first:],
                whole.sweeps[first:].copy(),
                whole.dvs[first:],
                whole.steering[first:],
                whole.engines[first:],
            )
            time, state = 0.0, self.site.start
            if first:
                time = float(flown.ignitions[first - 1] + flown.durations[first - 1])
                state = flown.states[first - 1]
                burns.sweeps[0] -= swept(whole.places[first - 1], state)
            self._made[first] = [
                self._leg(burns, time, state, early=False),
                *(
                    self._leg(_preceded(burns, sweep, place, self.site), time, state, early=True)
                    for sweep, place in self._early(first, time, state)
                ),
            ]
        return self._made[first]

    def _early(self, first: int, time: float, state: Array) -> list[tuple[float, Array]]:
        """Where small burns may be made before a burn: angles swept to there, and directions."""
        operations = self.site.case.operations
        settle = operations.settle_s
        if settle is None:
            period = float(period_of(state[:3], state[3:6], self.site.propagator.gravity.gm))
            settle = (operations.settle_revolutions or 0.0) * period
        begin, end = time + settle, float(self._flown.ignitions[first])
        room = _EDGE * self.site.motion.period_s
        if end - begin < 3 * room:
            return []
        times = np.linspace(begin + room, end - room, _EARLY)
        rows = self.site.propagator.sample(time, state, np.linspace(time, times[-1], _LOOKS))
        angles = np.cumsum([0.0, *(swept(a[:3], b) for a, b in pairwise(rows))])
        sweeps = np.interp(times, np.linspace(time, times[-1], _LOOKS), angles)
        places = self.site.propagator.sample(time, state, times)[:, :3]
        return [(float(s), unit(p)) for s, p in zip(sweeps, places, strict=True)]

    def _leg(self, burns: Burns, time: float, state: Array, *, early: bool) -> Leg:
        """Burns from a state on, with the slopes of the flight without errors."""
        setup = replace(self.site.setup, start_s=time, start=state)
        shooter = Shooter(setup, self.site.propagator, 1.0)
        here = shooter.fly(burns)
        slopes = np.zeros((6, 4 * len(burns.sweeps)))
        sizes = self.tolerance[self.judged]
        slopes[self.judged] = sizes[:, None] * shooter.slopes(burns, here)[:-1]
        options = tuple(self._option(burns, here, slopes, turns, early) for turns in TURNS)
        axes = unit(cross(here.lit[:, :3], here.lit[:, 3:6]))
        return Leg(early, burns, axes, here.ignitions, slopes, options)

    def _option(self, burns: Burns, flown: Flown, slopes: Array, turns: int, early: bool) -> Option:
        """The best changes for errors at the end, if the last burn's rest comes so much later.

        Least squares in the metric of `aiming`, where half the square of a change is what it costs
        in m/s, the rest by its usual size; against it weighs what trimming the errors left would
        take, and with a rest that its phase and period are met.
        """
        scale = self._metric(burns, flown, early)
        shift, rest = np.eye(6), np.zeros((6, 3))
        weights = np.where(self.judged, self.speed * PRICES, 0.0)
        if turns:
            shift[0, 1] = -TAU * turns
            rest = self._rest(flown)
            weights[:2] *= _MET
        scale = np.append(scale, np.full(3, np.sqrt(_REST_M_S)))
        lines = np.hstack([shift @ slopes, rest]) * scale
        white = weights[:, None] * lines
        square = white.T @ white + np.eye(len(scale))
        best = -np.linalg.solve(square, white.T * weights) @ shift
        left = shift + lines @ best
        best *= scale[:, None]
        return Option(turns, best[:-3], best[-3:], left)

    def _metric(self, burns: Burns, flown: Flown, early: bool) -> Array:
        """Changes (4q,) of the burns that cost half a metre per second each."""
        count = len(burns.sweeps)
        sizes = np.maximum(norm(burns.dvs), 1e-3 * burns.total + 1e-3)
        scale = np.repeat(np.sqrt(sizes), 4).reshape(count, 4)
        scale[:, 0] = 1 / np.sqrt(sizes)
        longest = np.array([engine.max_burn_s for engine in burns.engines])
        scale[flown.durations > _HELD_FROM * longest, 1:] *= _HELD
        if early:
            scale[0] = np.sqrt([0.0, _REST_M_S, _REST_M_S, _REST_M_S])
        return np.asarray(scale.ravel())

    def _rest(self, flown: Flown) -> Array:
        """What a rest of the last burn, made at its place, does to the errors (6, 3), per m/s."""
        end = flown.cutoff
        place = self.site.motion.frame(end) @ unit(flown.states[-1, :3])
        effects = responses(np.arctan2(place[1], place[0]), np.array(0.0))
        return effects / self.speed


def _preceded(burns: Burns, sweep: float, place: Array, site: Range) -> Burns:
    """Burns with room for a small one before them, at a place so far ahead."""
    sweeps = np.concatenate([[sweep], burns.sweeps])
    sweeps[1] -= sweep
    return Burns(
        np.concatenate([place[None], burns.places]),
        sweeps,
        np.concatenate([np.zeros((1, 3)), burns.dvs]),
        ("rsw", *burns.steering),
        (site.case.engine, *burns.engines),
    )
