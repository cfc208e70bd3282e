"""Planners by name: ours, one that another package registers, and none."""

from __future__ import annotations

import itertools
from importlib.metadata import EntryPoint, EntryPoints
from typing import Any

import pytest

import simcheck
from simcheck.errors import InputError, PlannerError
from simcheck.planning import registry
from simcheck.planning.planner import plan_ring
from simcheck.records.plan import Plan
from tests.cases_for_tests import case
from tests.planning.plans import sound

HERE = "tests.planning.test_registry"
no_callable = 3


def somebody_elses(made: Any, wish: Any) -> Plan:
    """A planner from outside that always has the same answer.

    More of it.
    """
    return sound()


def too_short(made: Any) -> Plan:
    """A planner of another protocol."""
    return sound()


def register(monkeypatch: pytest.MonkeyPatch, *points: tuple[str, str]) -> None:
    """Entry points of other packages in our group: name and value."""
    made = EntryPoints(EntryPoint(name, value, registry.GROUP) for name, value in points)
    monkeypatch.setattr("importlib.metadata.entry_points", lambda group: made.select(group=group))


@pytest.fixture
def outside(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another package's entry point, and one that would take the place of ours."""
    register(
        monkeypatch, ("elsewhere", f"{HERE}:somebody_elses"), ("ring", f"{HERE}:somebody_elses")
    )


def test_ours_is_the_default() -> None:
    """Without a name, and by its name, it is plan_ring."""
    assert registry.planner().function is plan_ring
    assert registry.planner("ring").function is plan_ring


def test_another_package_may_register_one(outside: None) -> None:
    """An entry point of the group is found by name and plans through the public verb."""
    assert registry.planner("elsewhere").function is somebody_elses
    assert simcheck.plan(case(), "elsewhere").planner == "by hand"


def test_ours_cannot_be_displaced(outside: None) -> None:
    """Whatever is registered, "ring" is ours."""
    assert registry.planner("ring").function is plan_ring


def test_an_unknown_name_lists_the_known(outside: None) -> None:
    """Wrong input, with what could be written instead."""
    with pytest.raises(InputError, match="elsewhere, ring") as raised:
        registry.planner("nobody")
    assert "'nobody'" in str(raised.value)
    assert raised.value.exit_code == 2


def test_two_of_a_name_are_told_apart_by_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is guessed: the message names both."""
    register(monkeypatch, ("mine", f"{HERE}:somebody_elses"), ("mine", f"{HERE}:too_short"))
    with pytest.raises(InputError, match="both register 'mine'; uninstall one"):
        registry.planner("mine")
    ours, *rows = registry.listed()
    assert ours.problem == ""
    assert ["both register" in row.problem for row in rows] == [True, True]


def test_one_registered_twice_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same entry point seen on two paths is no second planner."""
    register(monkeypatch, *[("mine", f"{HERE}:somebody_elses")] * 2)
    assert registry.planner("mine").function is somebody_elses
    assert len(registry.listed()) == 2


BROKEN = {
    "no_module": ("nowhere_at_all:plan", "cannot be loaded: ModuleNotFoundError"),
    "no_function": (f"{HERE}:absent", "cannot be loaded: AttributeError"),
    "no_callable": (f"{HERE}:no_callable", "takes a Case and a Wish, got a int"),
    "too_short": (f"{HERE}:too_short", "takes a Case and a Wish, got one that takes (made"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_one_that_cannot_be_loaded(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked for, it is the planner's fault and says why; listed, it says so too."""
    value, why = BROKEN[name]
    register(monkeypatch, (name, value), ("good", f"{HERE}:somebody_elses"))
    with pytest.raises(PlannerError) as raised:
        registry.planner(name)
    assert why in str(raised.value)
    assert f"the planner {name} ({value}) is at fault" in str(raised.value)
    rows = {row.source.name: row for row in registry.listed()}
    assert why in rows[name].problem
    assert rows["good"].problem == rows["ring"].problem == ""


def test_listed_with_what_they_say_of_themselves(outside: None) -> None:
    """Ours first, with its version; a line of the docstring; who wants our name, and cannot."""
    rows = registry.listed()
    assert [row.source.name for row in rows] == ["ring", "elsewhere", "ring"]
    assert rows[0].source.package == f"simcheck {simcheck.__version__}"
    assert rows[0].about.startswith("Plan the burns")
    assert rows[1].about == "A planner from outside that always has the same answer."
    assert "simcheck's own" in rows[2].problem


def test_our_own_entry_point_is_listed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Installed, simcheck registers ring itself."""
    register(monkeypatch, ("ring", "simcheck.planning.planner:plan_ring"))
    assert [(row.source.name, row.problem) for row in registry.listed()] == [("ring", "")]


def test_plans_say_who_made_them() -> None:
    """The plan carries its planner's name."""
    made = case(slot=3)
    assert simcheck.plan(made).planner == "ring"


def test_entry_points_are_not_read_for_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ours is there whatever the state of other packages' metadata; reading it costs 10 ms."""
    asked = itertools.count()
    monkeypatch.setattr("importlib.metadata.entry_points", lambda group: next(asked))
    registry.planner("ring")
    assert next(asked) == 0
