"""Commands of many flights side by side, a lane each, and flying them perfectly."""

from __future__ import annotations

from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.batches import TaylorBatches, ThrustBatch
from simcheck.records.case import Case, Cutoff, Engine
from simcheck.records.plan import Command

Rows: TypeAlias = NDArray[np.intp]
Flags: TypeAlias = NDArray[np.bool_]

CUTOFFS: tuple[Cutoff, ...] = ("duration", "velocity", "orbit")
"""Ways in which a burn ends, by their number."""


class LaneCommands(NamedTuple):
    """Commands (n, k) of n lanes, `number` (n,) of them meant; `direction` (n, k, 3).

    thrusters and turning are flags: which engine burns, and whether it turns with RSW. cutoff is
    the number of one of CUTOFFS, watch a Watch or None.
    """

    number: Rows
    ignition: Array
    duration: Array
    dv: Array
    direction: Array
    thrusters: Flags
    turning: Flags
    cutoff: Rows
    watch: NDArray[np.object_]

    def of(self, rows: Rows) -> LaneCommands:
        """Those of some lanes."""
        parts: list[Any] = [part[rows] for part in self]
        return LaneCommands(*parts)

    def put(self, rows: Rows, other: LaneCommands) -> None:
        """Give these lanes the commands of another set, in place."""
        for part, fresh in zip(self, other, strict=True):
            if part.ndim == 1:
                part[rows] = fresh
            else:
                part[rows, : fresh.shape[1]] = fresh[:, : part.shape[1]]

    def without_first(self, rows: Rows) -> None:
        """Drop the first command of these lanes, in place."""
        for part in self[1:]:
            part[rows, :-1] = part[rows, 1:]
        self.number[rows] -= 1

    @property
    def meant(self) -> NDArray[np.bool_]:
        """Which of the places (n, k) hold a command."""
        return np.asarray(np.arange(self.dv.shape[1]) < self.number[:, None])

    @property
    def total_dv(self) -> Array:
        """Sum of the commands' Δv (n,), m/s."""
        return np.asarray(np.where(self.meant, self.dv, 0.0).sum(axis=1))


def empty(lanes: int, width: int) -> LaneCommands:
    """Room for `width` commands a lane, none meant."""
    shape = (lanes, width)
    direction = np.zeros((*shape, 3))
    direction[..., 0] = 1.0
    return LaneCommands(
        np.zeros(lanes, dtype=np.intp),
        np.zeros(shape),
        np.zeros(shape),
        np.zeros(shape),
        direction,
        np.zeros(shape, dtype=bool),
        np.zeros(shape, dtype=bool),
        np.zeros(shape, dtype=np.intp),
        np.full(shape, None, dtype=object),
    )


def alike(commands: tuple[Command, ...], lanes: int, width: int) -> LaneCommands:
    """The same commands in every lane."""
    made = empty(lanes, width)
    made.number[:] = len(commands)
    for i, command in enumerate(commands):
        made.ignition[:, i], made.duration[:, i] = command.ignition_s, command.duration_s
        made.dv[:, i], made.direction[:, i] = command.dv_m_s, command.direction
        made.thrusters[:, i] = command.engine == "thrusters"
        made.turning[:, i] = command.steering == "rsw"
        made.cutoff[:, i] = CUTOFFS.index(command.cutoff)
        made.watch[:, i] = command.watch
    return made


def lane_of(commands: LaneCommands, lane: int, labels: list[str], case: Case) -> list[Command]:
    """The commands of one lane as records, with these labels."""
    found = []
    for i, label in enumerate(labels):
        engine = engine_of(case, thrusters=bool(commands.thrusters[lane, i]))
        watch: Any = commands.watch[lane, i]
        found.append(
            Command(
                burn=label,
                engine=engine.name,
                ignition_s=float(commands.ignition[lane, i]),
                duration_s=float(commands.duration[lane, i]),
                steering="rsw" if commands.turning[lane, i] else "inertial",
                direction=commands.direction[lane, i],
                dv_m_s=float(commands.dv[lane, i]),
                cutoff=CUTOFFS[commands.cutoff[lane, i]],
                watch=watch,
            )
        )
    return found


def engine_of(case: Case, *, thrusters: bool) -> Engine:
    """The engine, or the thrusters where there are some."""
    return case.thrusters if thrusters and case.thrusters is not None else case.engine


class Thrusts(NamedTuple):
    """Nominal thrust in N and Isp in s (n,) of whichever engine burns."""

    newton: Array
    isp: Array


def nominal(case: Case, thrusters: NDArray[np.bool_]) -> Thrusts:
    """What the engines of lanes (n,) should deliver."""
    main, small = case.engine, engine_of(case, thrusters=True)
    return Thrusts(
        np.where(thrusters, small.thrust_n, main.thrust_n),
        np.where(thrusters, small.isp_s, main.isp_s),
    )


def cutoffs(case: Case, thrusters: Flags) -> Rows:
    """How whichever engine burns ends its burns, (...,) as `thrusters`."""
    main, small = case.engine.cutoff, engine_of(case, thrusters=True).cutoff
    return np.where(thrusters, CUTOFFS.index(small), CUTOFFS.index(main))


def seconds(size: Array, mass: Array, thrusts: Thrusts) -> Array:
    """Lengths (n,) in s of burns of `size` m/s from `mass` kg."""
    exhaust = G0 * thrusts.isp
    return np.asarray(-mass * exhaust / thrusts.newton * np.expm1(-size / exhaust))


def for_thrusters(case: Case, size: Array, mass: Array) -> Flags:
    """Burns (n,) of `size` m/s from `mass` kg too short for the engine, if there are thrusters."""
    none = np.zeros(len(size), dtype=bool)
    if case.thrusters is None:
        return none
    return np.asarray(seconds(size, mass, nominal(case, none)) < case.engine.min_burn_s)


def smallest_dv(case: Case, mass: Array) -> Array:
    """The smallest Δv (n,) in m/s that can be commanded."""
    engines = (case.engine, engine_of(case, thrusters=True))
    return np.asarray(min(e.thrust_n * e.min_burn_s for e in engines) / mass)


def commandable(case: Case, made: LaneCommands) -> Flags:
    """Lanes (n,) none of whose burns is shorter or longer than its engine can do."""
    engine, small = case.engine, engine_of(case, thrusters=True)
    least = np.where(made.thrusters, small.min_burn_s, engine.min_burn_s)
    longest = np.where(made.thrusters, small.max_burn_s, engine.max_burn_s)
    fine = (made.duration >= least) & (made.duration <= longest)
    return np.asarray(np.all(fine | ~made.meant, axis=1))


def flown_perfectly(
    batches: TaylorBatches, case: Case, times: Array, states: Array, commands: LaneCommands
) -> tuple[Array, Array]:
    """Times (n,) and states (n, 7) after the commands, flown on their dates without errors."""
    times, states = times.copy(), states.copy()
    for i in range(int(np.max(commands.number, initial=0))):
        rows = np.flatnonzero(commands.number > i)
        one = commands.of(rows)
        light = np.maximum(one.ignition[:, i], times[rows])
        lit = batches.advance(times[rows], states[rows], light)
        thrusts = nominal(case, one.thrusters[:, i])
        push = ThrustBatch(thrusts.newton, thrusts.isp, one.turning[:, i], one.direction[:, i])
        times[rows] = light + one.duration[:, i]
        states[rows] = batches.advance(light, lit, times[rows], push)
    return times, states
