"""Which TOML files are cases, and which of them a path means."""

from __future__ import annotations

from pathlib import Path

import pytest

from simcheck.errors import InputError
from simcheck.files.case_search import find_cases, find_fleets, is_case_file, is_fleet_file
from tests.cases_for_tests import toml
from tests.files import fleets


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two cases, one further down, a baseline, and files that are none of ours."""
    (tmp_path / "b.toml").write_text(toml(), encoding="utf-8")
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "a.toml").write_text(toml(), encoding="utf-8")
    (tmp_path / "b.baseline.toml").write_text(toml(), encoding="utf-8")
    (tmp_path / "other.toml").write_text('[case]\nname = "of a dress"\n', encoding="utf-8")
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfe[[[")
    (tmp_path / ".venv").mkdir()
    (tmp_path / ".venv" / "c.toml").write_text(toml(), encoding="utf-8")
    (tmp_path / "case.txt").write_text(toml(), encoding="utf-8")
    return tmp_path


def test_a_folder_means_its_cases(folder: Path) -> None:
    """Those below it too; neither baselines, nor other files, nor what is hidden."""
    assert find_cases([folder]) == [folder / "b.toml", folder / "sub" / "a.toml"]


def test_a_faulty_case_is_still_a_case(folder: Path) -> None:
    """So that it is complained about instead of being passed over."""
    path = folder / "faulty.toml"
    path.write_text("[case]\ntitle = [\n[ring]\n", encoding="utf-8")
    assert is_case_file(path)


def test_each_case_once_in_the_order_named(folder: Path) -> None:
    """Named and found, or named twice."""
    named = [folder / "sub" / "a.toml", folder, folder / "sub" / ".." / "b.toml"]
    assert find_cases(named) == [folder / "sub" / "a.toml", folder / "b.toml"]


def test_a_file_named_is_taken_at_its_word(folder: Path) -> None:
    """Whether it looks like a case is for its reader to say."""
    assert find_cases([folder / "other.toml"]) == [folder / "other.toml"]


def test_what_cannot_be_a_case_is_told(folder: Path) -> None:
    """A baseline, with the name of its case, and a folder without any; both at once."""
    with pytest.raises(InputError) as raised:
        find_cases([folder / "b.baseline.toml", folder / ".venv" / ".." / "empty" / ".."])
    assert "write its case, b.toml" in raised.value.faults[0]
    (folder / "empty").mkdir()
    with pytest.raises(InputError, match="no case file in this folder"):
        find_cases([folder / "empty"])


def test_several_craft_are_found_apart(folder: Path) -> None:
    """A folder's files with [[craft]] are no cases for one plan; one that is named is."""
    path = folder / "sub" / "fleet.toml"
    path.write_text(fleets.text(), encoding="utf-8")
    assert is_case_file(path)
    assert is_fleet_file(path)
    assert not is_fleet_file(folder / "b.toml")
    assert find_fleets([folder]) == [path]
    assert find_fleets([path]) == []
    assert path not in find_cases([folder])
    assert find_cases([path]) == [path]
