"""Planners by name: ours and any that another package registers as an entry point.

A planner is a callable that turns a Case and a Wish into a Plan and raises NoPlanError where none
exists; it may ignore the wish. Its package names it in the entry-point group "simcheck.planners".
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from simcheck.errors import InputError
from simcheck.records.case import Case
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish

Planner: TypeAlias = Callable[[Case, Wish], Plan]

GROUP = "simcheck.planners"
DEFAULT = "ring"


def planner(name: str = DEFAULT) -> Planner:
    """The planner of this name. Raises InputError listing the known ones."""
    if name == DEFAULT:
        from simcheck.planning.planner import plan_ring

        return plan_ring
    from importlib.metadata import entry_points

    found = {point.name: point for point in entry_points(group=GROUP)}
    if name not in found:
        known = ", ".join(sorted({DEFAULT, *found}))
        raise InputError(f"--planner: expected one of {known}, got {name!r}")
    loaded: Planner = found[name].load()
    return loaded
