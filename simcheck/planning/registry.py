"""Planners by name: ours and any that another package registers as an entry point.

A planner is a callable that turns a Case and a Wish into a Plan:

1. It raises NoPlanError, with the limit that binds, where no plan exists within the limits, and
   InputError for a case that it is not made for (in flight the same as no plan); any other
   exception is a fault of its own.
2. Times count from the case's epoch; none is negative. `burns` are impulses in two-body motion;
   `commands`, at most one a burn, are what is flown: in order, not overlapping, within min_burn
   and max_burn, the tank and the engines of the case.
3. In flight it is asked with the case as it stands at the estimate, and with what is left of the
   plan being flown in `wish.flying`. It may ignore the wish, and need not know of the flight.
4. It is a pure function: the same case and wish give the same plan, in any process.

Its package names it in the entry-point group "simcheck.planners". Whatever it does, the guard
around it (`guarding`) checks.
"""

from __future__ import annotations

import inspect
from typing import NamedTuple

from simcheck.errors import InputError, PlannerError
from simcheck.planning.guarding import GROUP, Guarded, Planner, Source, guarded
from simcheck.version import VERSION

__all__ = ["DEFAULT", "GROUP", "Listed", "Planner", "listed", "planner", "sources"]

DEFAULT = "ring"
_OURS = Source(DEFAULT, "simcheck.planning.planner:plan_ring", f"simcheck {VERSION}")


def planner(name: str = DEFAULT) -> Guarded:
    """The planner of this name, guarded.

    Raises InputError listing the known ones where there is none, or more than one; PlannerError
    where it cannot be loaded.
    """
    if name == DEFAULT:
        return guarded(_OURS)
    known = sources()
    found = [source for source in known if source.name == name]
    if not found:
        names = ", ".join(sorted({source.name for source in known}))
        raise InputError(f"--planner: expected one of {names}, got {name!r}")
    if len(found) > 1:
        raise InputError(f"--planner: {_twice(found)}")
    return guarded(found[0])


def sources() -> list[Source]:
    """Where the planners come from that are registered here: ours first, then by name."""
    from importlib.metadata import entry_points

    found = {
        Source(point.name, point.value, "" if point.dist is None else _package(point.dist))
        for point in entry_points(group=GROUP)
    }
    ours = {source for source in found if source[:2] == _OURS[:2]}
    return [_OURS, *sorted(found - ours)]


def _package(distribution: object) -> str:
    name, version = (getattr(distribution, key, None) for key in ("name", "version"))
    return f"{name or 'a package without a name'} {version or ''}".strip()


class Listed(NamedTuple):
    """A registered planner: what it says of itself, or why it cannot be used (else empty)."""

    source: Source
    about: str
    problem: str


def listed() -> list[Listed]:
    """Every registered planner, those that cannot be used too."""
    found = sources()
    names = [source.name for source in found]
    rows = []
    for source in found:
        same = [one for one in found if one.name == source.name]
        if names.count(source.name) == 1 or source is _OURS:
            rows.append(_listed(source))
        elif source.name == DEFAULT:
            rows.append(Listed(source, "", "the name is that of simcheck's own planner"))
        else:
            rows.append(Listed(source, "", _twice(same)))
    return rows


def _listed(source: Source) -> Listed:
    try:
        function = guarded(source).function
    except PlannerError as error:
        return Listed(source, "", "; ".join(error.faults))
    return Listed(source, (inspect.getdoc(function) or "").partition("\n")[0], "")


def _twice(found: list[Source]) -> str:
    packages = " and ".join(source.package or source.value for source in found)
    return f"{packages} both register {found[0].name!r}; uninstall one"
