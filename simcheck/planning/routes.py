"""Routes: burns at points in space that lead from the start orbit onto the ring, time left open.

The handbook families: the plane changed at either node before, during or after the transfer, an
apsis brought to the ring's radius from the other apsis, and burns on the line of nodes with the
plane change split among them, directly or by way of a raised apoapsis. Reference: Vallado (2022),
sections 6.3 to 6.5.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.kernels.transfers import (
    apsis_direction,
    apsis_radii,
    coast_to_direction,
    node_direction,
    speed_for_apsis,
    turn_to_plane,
)
from simcheck.kernels.vectors import angle_between, cross, dot, norm, turn_about, unit
from simcheck.planning.problem import Problem

_FLAT = 1e-7  # rad; below this two planes are one, a thousandth of a metre a second at most
_SAME_CIRCLE = 1e-6  # relative and rad: a difference that no tolerance would notice
_SOON = 0.01  # of a revolution after the start
_NESTED = 9  # grids, each four times finer than the last
_NOTHING = 1e-6  # m/s; a burn below this is none


class Leg(NamedTuple):
    """A burn: the velocity before and after at a position (3,), and what it is for."""

    purpose: str
    position: Array
    before: Array
    after: Array

    @property
    def dv(self) -> float:
        """Size in m/s."""
        return float(norm(self.after - self.before))


class Route(NamedTuple):
    """Legs in order; coasts[i] is the first time of flight in s to legs[i]'s point."""

    name: str
    legs: tuple[Leg, ...]
    coasts: tuple[float, ...]

    @property
    def dv(self) -> float:
        """Sum of the legs in m/s."""
        return sum(leg.dv for leg in self.legs)


class _Walk:
    """Builds a route: coast to a direction, burn to a velocity, and so on."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.position, self.velocity = problem.position_m, problem.velocity_m_s
        self.waited = 0.0
        self.legs: list[Leg] = []
        self.coasts: list[float] = []

    @property
    def normal(self) -> Array:
        return unit(cross(self.position, self.velocity))

    def coast(self, direction: Array) -> None:
        tof, self.position, self.velocity = coast_to_direction(
            self.position, self.velocity, direction, self.problem.gm
        )
        self.waited += tof

    def burn(self, purpose: str, velocity: Array) -> None:
        leg = Leg(purpose, self.position, self.velocity, velocity)
        if leg.dv > _NOTHING:
            self.legs.append(leg)
            self.coasts.append(self.waited)
            self.waited = 0.0
        self.velocity = velocity

    def turn(self, side: int) -> None:
        """Coast to a node of the ring's plane and turn into it."""
        normal = self.problem.normal
        if angle_between(self.normal, normal) < _FLAT:
            return
        self.coast(side * node_direction(self.normal, normal, self.position))
        self.burn("plane change", turn_to_plane(self.position, self.velocity, normal))

    def to_apsis(self, side: int) -> None:
        self.coast(side * apsis_direction(self.position, self.velocity, self.problem.gm))

    def to_ring(self) -> None:
        """Coast to the apsis that has the ring's radius; stay where the orbit is circular."""
        radii = apsis_radii(self.position, self.velocity, self.problem.gm)
        low, high = (abs(float(radius) - self.problem.radius_m) for radius in radii)
        if abs(float(norm(self.position)) - self.problem.radius_m) > min(low, high) + 1e-6:
            self.to_apsis(1 if low < high else -1)

    def set_opposite(self, other: float) -> None:
        """At an apsis: bring the opposite one to radius `other`."""
        along = unit(cross(self.normal, self.position))
        speed = speed_for_apsis(norm(self.position), other, self.problem.gm)
        self.burn("apsis change", np.asarray(speed * along))

    def insert(self) -> None:
        self.burn("insertion", self.problem.ring_velocity(self.position))

    def route(self, name: str) -> Route:
        return Route(name, tuple(self.legs), tuple(self.coasts))


def handbook_routes(problem: Problem) -> list[Route]:
    """All handbook routes that the problem's aims call for."""
    if not (problem.aims_circle or problem.aims_period or problem.aims_phase):
        return list(_plane_only(problem))
    if not problem.aims_circle:
        return list(_period_only(problem))
    on_ring = _on_the_ring(problem)
    if on_ring is not None:
        return [on_ring]
    routes = [*_sequences(problem), *_on_node_line(problem), *_raised(problem)]
    return [route for route in routes if all(np.isfinite(leg.dv) for leg in route.legs)]


def _on_the_ring(problem: Problem) -> Route | None:
    """Where the craft is on the ring's own circle already: a burn where it is, soon."""
    radii = apsis_radii(problem.position_m, problem.velocity_m_s, problem.gm)
    walk = _Walk(problem)
    off = max(abs(float(radius) / problem.radius_m - 1) for radius in radii)
    if off > _SAME_CIRCLE or angle_between(walk.normal, problem.normal) > _SAME_CIRCLE:
        return None
    lead = _SOON * problem.period_s
    walk.coast(unit(problem.position_m + problem.velocity_m_s * lead))
    leg = Leg("phasing", walk.position, walk.velocity, problem.ring_velocity(walk.position))
    return Route("phasing on the ring", (leg,), (walk.waited,))


def _plane_only(problem: Problem) -> Iterator[Route]:
    for side in (1, -1):
        walk = _Walk(problem)
        walk.turn(side)
        yield walk.route("plane change at the " + ("ascending", "descending")[side < 0] + " node")


def _period_only(problem: Problem) -> Iterator[Route]:
    """The period alone: one tangential burn at an apsis, the plane first or last."""
    axis = problem.radius_m
    for apsis in (1, -1):
        for side in (1, -1):
            for first in (True, False):
                walk = _Walk(problem)
                if first:
                    walk.turn(side)
                walk.to_apsis(apsis)
                walk.set_opposite(2 * axis - float(norm(walk.position)))
                if not first:
                    walk.turn(side)
                yield walk.route("period set at an apsis")


def _sequences(problem: Problem) -> Iterator[Route]:
    """Plane change before, between or after the apsis change and the insertion."""
    for apsis in (1, -1):
        for side in (1, -1):
            for place in ("first", "between", "last"):
                walk = _Walk(problem)
                if place == "first":
                    walk.turn(side)
                walk.to_apsis(apsis)
                walk.set_opposite(problem.radius_m)
                if place == "between":
                    walk.turn(side)
                walk.to_ring()
                if place == "last":
                    _circularise(walk)
                    walk.turn(side)
                else:
                    walk.insert()
                turned = any(leg.purpose == "plane change" for leg in walk.legs)
                plane = f"plane change {place}, " if turned else ""
                yield walk.route(plane + "apsis change and insertion")


def _circularise(walk: _Walk) -> None:
    """Circular at the ring's radius in the plane that the craft is in."""
    along = unit(cross(walk.normal, walk.position))
    walk.burn("insertion", np.asarray(np.sqrt(walk.problem.gm / norm(walk.position)) * along))


def _lines(problem: Problem) -> list[Array]:
    """Directions from which a transfer along a line may start: nodes, or apsides if coplanar."""
    own = unit(cross(problem.position_m, problem.velocity_m_s))
    apsis = apsis_direction(problem.position_m, problem.velocity_m_s, problem.gm)
    line = apsis
    if angle_between(own, problem.normal) >= _FLAT:
        line = node_direction(own, problem.normal, apsis)
    return [line, -line]


def _on_node_line(problem: Problem) -> Iterator[Route]:
    """Two burns on the line of nodes, half a revolution apart, the plane change split."""
    for line in _lines(problem):
        walk = _Walk(problem)
        walk.coast(line)
        r1, r2 = float(norm(walk.position)), problem.radius_m
        turn = _turn_angle(walk)
        v1, v2 = (float(speed_for_apsis(a, b, problem.gm)) for a, b in ((r1, r2), (r2, r1)))
        shares = np.linspace(0.0, 1.0, 41)
        ring = np.sqrt(problem.gm / r2)

        cost = partial(_split_cost, walk, turn, (v1, v2, float(ring)))
        share = _minimum(cost, shares)
        walk.burn("apsis and plane change", _turned(walk, v1, np.array(share * turn)))
        walk.coast(-line)
        walk.insert()
        yield walk.route("burns on the line of nodes")


def _split_cost(
    walk: _Walk, turn: float, speeds: tuple[float, float, float], share: Array
) -> Array:
    """Two burns in m/s when `share` of the turn is in the first."""
    v1, v2, ring = speeds
    first = _turned(walk, v1, share * turn) - walk.velocity
    rest = (1 - share) * turn
    return np.asarray(norm(first) + _apart(np.float64(v2), np.float64(ring), rest))


def _raised(problem: Problem) -> Iterator[Route]:
    """Three burns on the line of nodes: out to a raised apoapsis, back to the ring's radius."""
    own = float(apsis_radii(problem.position_m, problem.velocity_m_s, problem.gm)[1])
    low = max(own, problem.radius_m) * 1.02
    high = min(problem.max_radius_m, 40 * low)
    if high <= low:
        return
    for line in _lines(problem):
        walk = _Walk(problem)
        walk.coast(line)
        turn = _turn_angle(walk)
        radius, first, second = _raised_split(walk, turn, low, high)
        speed = float(speed_for_apsis(norm(walk.position), radius, problem.gm))
        walk.burn("raise apoapsis", _turned(walk, speed, np.array(first * turn)))
        walk.coast(-line)
        back = float(speed_for_apsis(norm(walk.position), problem.radius_m, problem.gm))
        walk.burn("apsis and plane change", _turned(walk, back, np.array(second * turn)))
        walk.coast(line)
        walk.insert()
        yield walk.route("by way of a raised apoapsis")


def _raised_split(walk: _Walk, turn: float, low: float, high: float) -> tuple[float, float, float]:
    """Radius of the far burn and the shares of the turn in the first two, by nested grids."""
    bounds = np.array([[low, high], [0.0, 1.0], [0.0, 1.0]])
    axes = [np.geomspace(low, high, 30), np.linspace(0, 1, 21), np.linspace(0, 1, 21)]
    best = bounds[:, 0]
    for _ in range(_NESTED):
        total = _raised_cost(walk, turn, *np.meshgrid(*axes, indexing="ij"))
        at = np.unravel_index(np.argmin(total), total.shape)
        best = np.array([axis[i] for axis, i in zip(axes, at, strict=True)])
        reach = [float(np.max(np.diff(axis))) for axis in axes]
        axes = [
            np.linspace(max(b[0], x - w), min(b[1], x + w), 9)
            for x, w, b in zip(best, reach, bounds, strict=True)
        ]
    return float(best[0]), float(best[1]), float(best[2])


def _raised_cost(walk: _Walk, turn: float, far: Array, first: Array, second: Array) -> Array:
    """Sum of the three burns in m/s for grids of the far radius and of the turn's shares."""
    gm, ring, here = walk.problem.gm, walk.problem.radius_m, float(norm(walk.position))
    leave = _turned(walk, speed_for_apsis(here, far, gm), first * turn) - walk.velocity
    arrive, depart = speed_for_apsis(far, here, gm), speed_for_apsis(far, ring, gm)
    final = _apart(
        speed_for_apsis(ring, far, gm),
        np.full_like(far, np.sqrt(gm / ring)),
        (1 - first - second) * turn,
    )
    return np.asarray(norm(leave) + _apart(arrive, depart, second * turn) + final)


def _apart(one: Array | np.float64, other: Array | np.float64, angle: Array) -> Array:
    square = one**2 + other**2 - 2 * one * other * np.cos(angle)
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _turn_angle(walk: _Walk) -> float:
    """Signed angle about the position from the present plane to the ring's."""
    normal, axis = walk.normal, unit(walk.position)
    target = walk.problem.normal
    return float(np.arctan2(dot(cross(normal, target), axis), dot(normal, target)))


def _turned(walk: _Walk, speed: float | Array, angle: Array) -> Array:
    """Velocity (..., 3) across the radius, turned about the position by angle (...)."""
    along = unit(cross(walk.normal, walk.position))
    turned = turn_about(along, unit(walk.position), angle)
    return np.asarray(np.asarray(speed)[..., None] * turned)


def _minimum(cost: Callable[[Array], Array], grid: Array) -> float:
    """Minimiser of a smooth function of one share on [0, 1]: grid, then golden section."""
    values = cost(grid)
    at = int(np.argmin(values))
    low, high = grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)]
    ratio = (np.sqrt(5) - 1) / 2
    for _ in range(60):
        a, b = high - ratio * (high - low), low + ratio * (high - low)
        fa, fb = cost(np.array([a, b]))
        low, high = (low, b) if fa < fb else (a, high)
    return float((low + high) / 2)
