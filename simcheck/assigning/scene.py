"""What is assigned, by which planner, and who does the work."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor
from typing import Any, NamedTuple

from simcheck.assigning.choosing import Answer, Place, Refused
from simcheck.errors import FlightError, NoPlanError
from simcheck.planning.registry import Planner
from simcheck.records.case import Case
from simcheck.records.fleet import AssignAim, Fleet
from simcheck.records.wish import Wish


class Scene(NamedTuple):
    """A fleet to assign, how its plans are made, and who works.

    planner is registered under `name`; watcher is told what is done next.
    """

    fleet: Fleet
    name: str
    planner: Planner
    wish: Wish
    executor: Executor
    watcher: Callable[[str], None]

    @property
    def aim(self) -> AssignAim:
        """What is made least, and whether the ring may be turned."""
        return self.fleet.aim

    @property
    def slots(self) -> list[int]:
        """The slots that any craft may take."""
        craft = range(len(self.fleet.craft))
        return sorted({slot for index in craft for slot in self.fleet.allowed(index)})

    def run(self, function: Callable[[Any], Any], arguments: Sequence[Any]) -> list[Any]:
        """Call a function with each argument, side by side where there are hands."""
        try:
            return list(self.executor.map(function, arguments))
        except BrokenExecutor:
            raise FlightError(
                "a worker died on the way; there may be too little memory: try fewer --workers"
            ) from None

    def plans(self, places: Sequence[Place], angle: float) -> list[Answer]:
        """Plan pairs of craft and place in `slots`, with slot 0 at this argument of latitude."""
        self.watcher(f"planning {len(places)} pair{'s' if len(places) > 1 else ''}")
        cases = [self.fleet.case(row, self.slots[column], angle) for row, column in places]
        return self.run(_planned, [(case, self.planner, self.wish) for case in cases])


def _planned(order: tuple[Case, Planner, Wish]) -> Answer:
    case, planner, wish = order
    try:
        return planner(case, wish)
    except NoPlanError as error:
        return Refused(str(error), error.limit, error.excess)
