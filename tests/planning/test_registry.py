"""Planners by name: ours, one that another package registers, and none."""

from __future__ import annotations

from importlib.metadata import EntryPoint, EntryPoints
from typing import Any

import pytest

import simcheck
from simcheck.errors import InputError
from simcheck.planning import registry
from simcheck.planning.planner import plan_ring
from simcheck.records.plan import Plan
from tests.cases_for_tests import case
from tests.cli import samples


def somebody_elses(made: Any, wish: Any) -> Plan:
    """A planner from outside that always has the same answer."""
    return samples.plan(planner="elsewhere")


@pytest.fixture
def outside(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another package's entry point in our group."""
    point = EntryPoint("elsewhere", "tests.planning.test_registry:somebody_elses", registry.GROUP)
    monkeypatch.setattr(
        "importlib.metadata.entry_points", lambda group: EntryPoints([point]).select(group=group)
    )


def test_ours_is_the_default() -> None:
    """Without a name, and by its name, it is plan_ring."""
    assert registry.planner() is plan_ring
    assert registry.planner("ring") is plan_ring


def test_another_package_may_register_one(outside: None) -> None:
    """An entry point of the group is found by name and plans through the public verb."""
    assert registry.planner("elsewhere") is somebody_elses
    assert simcheck.plan(case(), "elsewhere").planner == "elsewhere"


def test_ours_cannot_be_displaced(outside: None) -> None:
    """Whatever is registered, "ring" is ours."""
    assert registry.planner("ring") is plan_ring


def test_an_unknown_name_lists_the_known(outside: None) -> None:
    """Wrong input, with what could be written instead."""
    with pytest.raises(InputError, match="elsewhere, ring") as raised:
        registry.planner("nobody")
    assert "'nobody'" in str(raised.value)
    assert raised.value.exit_code == 2


def test_plans_say_who_made_them() -> None:
    """The plan carries its planner's name."""
    made = case(slot=3)
    assert simcheck.plan(made).planner == "ring"
