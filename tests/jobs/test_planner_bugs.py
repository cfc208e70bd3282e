"""Bugs put into the planner on purpose: `simcheck regress` must show each of them red.

Every bug is tried on the shipped cases that have what it spoils: no plane is turned in the two
coplanar ones, and the lunar ring starts at 0 deg, which degrees and radians agree on.
"""

from __future__ import annotations

import json
from importlib.metadata import EntryPoint, EntryPoints
from pathlib import Path

import pytest

from simcheck.cli.main import main
from simcheck.planning.registry import GROUP
from tests.jobs import spoiled_planners

CASES = Path(__file__).parents[2] / "cases"
RINGS = ("lunar_ring", "mars_ring", "navigation_satellite")
ALL = (*RINGS, "geostationary_move", "handbook_transfer")

BUGS = [
    *(("swapped_node", case, "error.plane_deg") for case in RINGS),
    *(("wrong_sign", case, "flight.verdict") for case in ALL),
    *(("period_off", case, "error.period_s") for case in (*RINGS, "handbook_transfer")),
    ("period_off", "geostationary_move", "plan.result"),
    ("degrees", "mars_ring", "error.phase_deg"),
    ("degrees", "navigation_satellite", "error.phase_deg"),
    ("degrees", "geostationary_move", "plan.result"),
    ("degrees", "lunar_ring", "plan.result"),
    ("lazy", "geostationary_move", "plan.commanded_dv_m_s"),
    ("late", "mars_ring", "error.phase_deg"),
]


@pytest.fixture(autouse=True)
def registered(monkeypatch: pytest.MonkeyPatch) -> None:
    """The spoiled planners, as another package would register them."""
    points = [
        EntryPoint(name, f"{spoiled_planners.__name__}:{name}", GROUP)
        for name in ("swapped_node", "wrong_sign", "period_off", "degrees", "lazy", "late")
    ]
    monkeypatch.setattr(
        "importlib.metadata.entry_points", lambda group: EntryPoints(points).select(group=group)
    )


@pytest.mark.parametrize(("bug", "case", "path"), BUGS, ids=str)
def test_every_bug_is_caught(
    bug: str, case: str, path: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 1, the value that the bug spoils is worse, and it is said by how much."""
    capsys.readouterr()
    command = ["regress", str(CASES / f"{case}.toml"), "--planner", bug, "--samples", "0"]
    code = main([*command, "--json"])
    (found,) = json.loads(capsys.readouterr().out)["cases"]
    moves = {row["path"]: row["move"] for row in found["differences"]}
    assert code == 1
    assert found["standing"] == "worse"
    assert moves[path] == "worse", {key: move for key, move in moves.items() if move != "same"}


def test_without_a_bug_it_is_green() -> None:
    """The control: our planner itself, tried in the same way."""
    assert main(["regress", str(CASES / "lunar_ring.toml"), "--samples", "0"]) == 0
