"""Several craft, several slots: estimated, assigned, planned, flown and kept apart."""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import Executor
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.assigning.choosing import Table, choose
from simcheck.assigning.estimating import Estimate, estimate, share_of
from simcheck.assigning.outcome import assignment, impossible
from simcheck.assigning.scene import Scene
from simcheck.assigning.separating import Flown, Order, flown, separated
from simcheck.assigning.solving import Objective, Rank, Solution
from simcheck.kernels.vectors import TAU
from simcheck.planning.registry import Planner
from simcheck.records.case import Case
from simcheck.records.fleet import Angle, Assignment, Fleet, Minimise
from simcheck.records.plan import Plan
from simcheck.records.wish import Preference, Wish

ANGLES = 12
"""Angles of the ring tried in a turn by which its slots look the same."""

FINER, STEPS = 2, 3
"""How often the neighbourhood of the best angle is looked at anew, with steps so much finer."""

_FAR_S = 1e9  # stands for the arrival of what nothing is known of, behind all others
_OBJECTIVES: dict[Minimise, Objective] = {
    "total-dv": "sum",
    "largest-share": "largest",
    "time": "largest",
}
_PREFERENCES: dict[Minimise, Preference] = {
    "total-dv": "dv",
    "largest-share": "dv",
    "time": "time",
}


def assign(
    fleet: Fleet,
    name: str,
    planner: Planner,
    executor: Executor,
    *,
    effort: int = 1,
    seed: int = 0,
    watcher: Callable[[str], None] | None = None,
) -> Assignment:
    """Find who goes where, plan and fly each craft, and see that they keep apart.

    Raises NoPlanError where no assignment exists, naming the craft that cannot be placed.
    """
    wish = Wish(prefer=_PREFERENCES[fleet.aim.minimise], effort=effort, seed=seed)
    scene = Scene(fleet, name, planner, wish, executor, watcher or (lambda _: None))
    angle, estimates, angles = _turned(scene)
    table = _table(scene, estimates)
    found = choose(table, lambda places: scene.plans(places, angle), _pricing(fleet))
    if found is None:
        raise impossible(scene, table, angle)
    best, bound = found
    scene.watcher(f"flying {len(fleet.craft)} craft")
    limit = fleet.base.limits.separation_m
    craft, seen = separated(_flights(scene, table, best, angle), limit, planner, wish, scene.run)
    return assignment(scene, table, (best, bound), (angle, angles), (craft, seen))


def _turned(scene: Scene) -> tuple[float, list[Estimate], tuple[Angle, ...]]:
    """Slot 0's argument of latitude in rad, every craft's estimate there, and what was tried."""
    ring = scene.fleet.base.ring
    first = ring.argument_of_latitude_rad
    if scene.aim.ring_angle == "fixed":
        return first, _estimates(scene, [first])[0], ()
    fixed = any(craft.slot is not None for craft in scene.fleet.craft)
    turn, count = (TAU, ANGLES * ring.slots) if fixed else (TAU / ring.slots, ANGLES)
    step = turn / count
    tried = _tried(scene, [first + k * step for k in range(count)])
    for _ in range(FINER):
        best, step = _best_angle(tried).angle, step / STEPS
        around = [k for k in range(-STEPS + 1, STEPS) if k]
        tried += _tried(scene, [best + k * step for k in around])
    chosen = _best_angle(tried)
    angles = tuple(
        Angle(
            argument_of_latitude_deg=math.degrees(x.angle),
            value=x.value,
            mean_arrival_s=x.mean_s,
        )
        for x in sorted(tried, key=lambda x: x.angle)
    )
    return chosen.angle, chosen.estimates, angles


class _Tried(NamedTuple):
    angle: float
    estimates: list[Estimate]
    value: float
    mean_s: float


def _tried(scene: Scene, angles: list[float]) -> list[_Tried]:
    """What the best assignment at each angle is estimated at; infinite where there is none."""
    rows = []
    for angle, estimates in zip(angles, _estimates(scene, angles), strict=True):
        table = _table(scene, estimates)
        best = table.by_guess.solve()
        value, mean = math.inf, math.inf
        if best is not None:
            value = best.value
            mean = float(np.mean(table.arrival[np.arange(len(best.columns)), best.columns]))
        rows.append(_Tried(angle, estimates, value, mean))
    return rows


def _best_angle(tried: list[_Tried]) -> _Tried:
    """The angle with the least value, of those alike the one with the earliest arrivals."""
    least = min(x.value for x in tried)
    values = np.array([[x.value] for x in tried])
    rank = Rank("sum", values.T, values.T, np.array([[x.mean_s for x in tried]]))
    best = rank.solve() if math.isfinite(least) else None
    return tried[0] if best is None else tried[int(best.columns[0])]


def _estimates(scene: Scene, angles: list[float]) -> list[list[Estimate]]:
    """For every angle the estimate of every craft, (craft) with arrays (1, slots)."""
    fleet, slots = scene.fleet, scene.slots
    count = len(fleet.craft) * len(slots) * len(angles)
    scene.watcher(f"estimating {count} way{'s' if count > 1 else ''} to a slot")
    orders = [
        (fleet.case(index, fleet.allowed(index)[0]), slots, angles, scene.wish.prefer)
        for index in range(len(fleet.craft))
    ]
    found: list[Estimate] = scene.run(_estimate, orders)
    return [
        [Estimate(x.lower_m_s, x.dv_m_s[k : k + 1], x.arrival_s[k : k + 1]) for x in found]
        for k in range(len(angles))
    ]


def _estimate(order: tuple[Case, list[int], list[float], Preference]) -> Estimate:
    return estimate(*order)


def _table(scene: Scene, estimates: list[Estimate]) -> Table:
    """What is known before anything is planned."""
    fleet, minimise = scene.fleet, scene.aim.minimise
    dv = np.concatenate([x.dv_m_s for x in estimates])
    arrival = np.concatenate([x.arrival_s for x in estimates])
    lower = np.repeat([[x.lower_m_s] for x in estimates], dv.shape[1], axis=1)
    may = np.array(
        [[slot in fleet.allowed(k) for slot in scene.slots] for k in range(len(fleet.craft))]
    )
    if minimise == "time":
        bounds, guess = np.where(np.isfinite(lower), 0.0, np.inf), arrival.copy()
    elif minimise == "largest-share":
        bounds, guess = _shares(fleet, lower), _shares(fleet, dv)
    else:
        bounds, guess = lower.copy(), dv.copy()
    return Table(
        _OBJECTIVES[minimise],
        np.where(may, bounds, np.inf),
        np.where(may, guess, np.inf),
        np.where(np.isfinite(dv), dv, np.where(np.isfinite(lower), lower, 0.0)),
        np.where(np.isfinite(arrival), arrival, _FAR_S),
    )


def _shares(fleet: Fleet, dv: Array) -> Array:
    cases = [fleet.case(k, fleet.allowed(k)[0]) for k in range(len(fleet.craft))]
    return np.array(
        [
            [share_of(case, float(x)) if np.isfinite(x) else np.inf for x in row]
            for case, row in zip(cases, dv, strict=True)
        ]
    )


def _pricing(fleet: Fleet) -> Callable[[int, Plan], float]:
    def price(index: int, plan: Plan) -> float:
        if fleet.aim.minimise == "time":
            return plan.arrival_time_s
        if fleet.aim.minimise == "largest-share":
            return share_of(fleet.case(index, 0), plan.total_dv_m_s)
        return plan.total_dv_m_s

    return price


def _flights(scene: Scene, table: Table, best: Solution, angle: float) -> list[Flown]:
    orders = []
    for row, column in enumerate(map(int, best.columns)):
        plan = table.answers[row, column]
        if isinstance(plan, Plan):
            case = scene.fleet.case(row, scene.slots[column], angle)
            orders.append(Order(case, plan, scene.planner, scene.wish))
    made: list[Flown | None] = scene.run(flown, orders)
    return [one for one in made if one is not None]
