"""Drawn cases: valid, as varied as is said, as narrow as is asked, and easy to read."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import Phase, find, given, settings
from hypothesis import strategies as st

from simcheck.kernels.transfers import apsis_radii
from simcheck.records.case import Case, Errors
from simcheck.testing import as_toml, cases
from simcheck.testing.drawing import BODIES
from tests.cases_for_tests import CERES, load
from tests.files.test_case_text import numbers

QUICK = settings(max_examples=40, phases=(Phase.explicit, Phase.generate))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("drawn")


def unturned(made: Case) -> Case:
    """Without what only a file with an epoch says: where the axes and the meridian point."""
    return replace(made, body=replace(made.body, prime_meridian_rad=None, axes=""))


@settings(max_examples=150)
@given(made=cases())
def test_a_file_could_say_it(made: Case, folder: Path) -> None:
    """Every drawn case is accepted as a file, and is the same case, number for number.

    Its start is an orbit of round elements, not a state.
    """
    text = as_toml(made)
    assert numbers(unturned(load(text, folder)), spin=True) == numbers(made, spin=True)
    assert "[craft.orbit]" in text


@settings(max_examples=30)
@given(made=cases(body=CERES))
def test_about_a_body_of_ones_own(made: Case, folder: Path) -> None:
    """A body given as a record is taken as it is; its field as far as it is known."""
    read = unturned(load(as_toml(made), folder))
    assert numbers(read, spin=False) == numbers(made, spin=False)
    assert made.body is CERES
    assert made.forces in {(), ("j2",)}


def seen(made: Case) -> dict[str, Any]:
    """What may be of two kinds in a case, and which it is."""
    low, high = apsis_radii(made.craft.position_m, made.craft.velocity_m_s, made.body.gm_m3_s2)
    return {
        "body": made.body.name,
        "forces": made.forces,
        "circular": bool(high - low < 1.0),
        "phase": made.tolerance.phase_rad is not None,
        "members": bool(made.members),
        "thrusters": made.thrusters is not None,
        "errors": any(value > 0 for value in vars(made.errors).values()),
        "limits": made.limits.dv_m_s < 1e9,
        "size": made.ring.size,
        "epoch": made.epoch is None,
        "cutoff": made.engine.cutoff,
        "replan": made.operations.replan,
    }


def test_all_kinds_are_drawn() -> None:
    """Among 150 cases every kind of everything comes up."""
    kinds: dict[str, set[Any]] = {}

    @settings(max_examples=150, phases=(Phase.generate,))
    @given(cases())
    def look(made: Case) -> None:
        for name, kind in seen(made).items():
            kinds.setdefault(name, set()).add(kind)

    look()
    assert kinds.pop("body") == set(BODIES)
    assert {name: len(found) for name, found in kinds.items()} == {
        name: 3 if name in {"forces", "cutoff"} else 2 for name in kinds
    }


@pytest.mark.parametrize(
    ("options", "kind"),
    [
        ({"body": "Titan"}, {"body": "Titan"}),
        ({"forces": ()}, {"forces": ()}),
        ({"forces": ["j2"]}, {"forces": ("j2",)}),
        ({"start": "circular"}, {"circular": True}),
        ({"start": "eccentric"}, {"circular": False}),
        ({"with_phase": True}, {"phase": True}),
        ({"with_phase": False}, {"phase": False}),
        ({"with_members": False}, {"members": False}),
        ({"with_thrusters": True}, {"thrusters": True}),
        ({"with_thrusters": False}, {"thrusters": False}),
        ({"with_errors": False}, {"errors": False, "replan": "never"}),
        ({"with_limits": True}, {"limits": True}),
        ({"with_limits": False}, {"limits": False}),
    ],
    ids=str,
)
def test_options_narrow(options: dict[str, Any], kind: dict[str, Any]) -> None:
    """What is asked for is what every case has."""

    @QUICK
    @given(cases(**options))
    def look(made: Case) -> None:
        assert seen(made).items() >= kind.items()

    look()


@QUICK
@given(cases(with_members=True, with_errors=True))
def test_members_where_there_is_a_slot_for_them(made: Case) -> None:
    """A ring of one slot has no room; any other has a member at least, none on the craft's slot."""
    assert bool(made.members) == (made.ring.slots > 1)
    assert made.craft.slot not in {member.slot for member in made.members}


SHRINK = settings(max_examples=100, phases=(Phase.generate, Phase.shrink))


@pytest.fixture(scope="module")
def least() -> Case:
    """What everything shrinks to that nothing holds back."""
    return find(cases(), lambda made: True, settings=SHRINK)


def test_shrunk_cases_are_small(least: Case) -> None:
    """The simplest of all: Mars, two-body, no text longer than it must be."""
    text = as_toml(least)
    assert 'name = "Mars"\nforces = []' in text
    assert "[errors]" not in text
    assert "[thrusters]" not in text
    assert "[[ring.member]]" not in text
    assert text.count("\n") < 40
    assert max(map(len, re.findall(r"\d[\d.]*", text))) <= 5


def test_shrinking_keeps_what_matters() -> None:
    """A condition on one error leaves the others at zero."""
    found = find(cases(), lambda made: made.errors.isp_bias > 0, settings=SHRINK)
    assert vars(found.errors) == vars(replace(Errors(), isp_bias=found.errors.isp_bias))
    assert 'isp_bias = "0.1 %"' in as_toml(found)


@pytest.mark.parametrize("way", ["argument", "drawn"])
def test_a_failure_shows_a_file(way: str, tmp_path: Path) -> None:
    """What hypothesis reports of a failing case can be saved and read."""

    @SHRINK
    @given(cases() if way == "argument" else st.none(), st.data())
    def fails(made: Case | None, data: Any) -> None:
        assert (made or data.draw(cases())).ring.slots < 3

    with pytest.raises(AssertionError) as raised:
        fails()
    text = "\n".join(raised.value.__notes__)
    blocks = [block for block in text.split('"""') if "slots = 3" in block]
    (block,) = {block.strip() for block in blocks}
    assert load(block, tmp_path).ring.slots == 3


def test_a_changed_case_still_shows_itself(least: Case) -> None:
    """A copy with another field is shown as a file too."""
    assert 'title = "other"' in repr(replace(least, title="other"))


def test_simcheck_itself_needs_no_hypothesis() -> None:
    """Only `simcheck.testing` imports it."""
    code = "import sys, simcheck.api, simcheck.cli.check; assert 'hypothesis' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)
