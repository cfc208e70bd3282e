"""--plot as a person uses it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from simcheck.cli.main import main
from simcheck.cli.plotting import FirstRows
from tests.dispersing.rows import some

CASES = Path(__file__).parents[2] / "cases"
HANDBOOK = str(CASES / "handbook_transfer.toml")


@pytest.mark.parametrize(
    ("command", "picture"),
    [
        (["check", HANDBOOK], "orbit_in_plane"),
        (["plan", HANDBOOK], "primer"),
        (["fly", HANDBOOK], "timeline_period"),
        (["disperse", HANDBOOK, "--samples", "3", "--workers", "1"], "success"),
        (["hold", HANDBOOK, "--for", "20 d", "--as-planned"], "hold_period"),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else value,
)
def test_pictures_beside_the_result(
    command: list[str], picture: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same document and exit code as without; what was written is said on stderr."""
    plain = main([*command, "--json"])
    without = json.loads(capsys.readouterr().out)
    folder = tmp_path / "figures"
    assert main([*command, "--json", "--plot", str(folder)]) == plain
    said = capsys.readouterr()
    assert json.loads(said.out) == without
    assert f" in {folder}, each as PNG and SVG: " in said.err
    assert picture in said.err
    stems = {path.stem for path in folder.iterdir()}
    assert picture in stems
    assert len(list(folder.iterdir())) == 2 * len(stems)


def test_a_dispersions_rows_are_drawn(tmp_path: Path) -> None:
    """With the rows of its flights there are pictures of each of them."""
    case = tmp_path / "case.toml"
    text = Path(HANDBOOK).read_text(encoding="utf-8")
    case.write_text(text + '\n[errors]\nthrust_bias = "1 %"\n', encoding="utf-8")
    folder = tmp_path / "figures"
    main(["disperse", str(case), "--samples", "40", "--workers", "1", "--plot", str(folder)])
    assert (folder / "histogram_dv_used.png").is_file()


def test_a_folder_that_cannot_be_is_wrong_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file in its place, or in its way; nothing is printed on stdout."""
    file = tmp_path / "file"
    file.write_text("", encoding="utf-8")
    assert main(["plan", HANDBOOK, "--plot", str(file)]) == 2
    assert main(["plan", HANDBOOK, "--plot", str(file / "below")]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "--plot figures" in said.err


def test_two_plans_are_not_drawn(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", HANDBOOK, HANDBOOK, "--plot", "x"]) == 2
    assert "--plot is for one plan" in capsys.readouterr().err


def test_so_many_rows_are_kept() -> None:
    """The first ones, however they come in."""
    rows, keep = some(30_000), FirstRows()
    assert keep.kept is None
    for first in range(0, 30_000, 7000):
        keep(rows[first : first + 7000])
    assert keep.kept is not None
    assert np.array_equal(keep.kept["sample"], np.arange(20_000))
