"""Baselines on disk: what is written comes back, a person's allowances stay, faults have lines."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.errors import InputError
from simcheck.files.baselines import (
    baseline_path,
    baseline_text,
    load_with_baselines,
    read_baseline,
    write_baseline,
)
from simcheck.records.baseline import Baseline, Trial
from simcheck.records.measures import MEASURES, Allowance, Value, rounded
from tests.cases_for_tests import toml
from tests.cli.samples import changed
from tests.regressing.bench import NO_PLAN, VALUES, baseline

TEXT = """\
# What relay.toml gave when somebody accepted it: `simcheck regress` compares with this, and
# `simcheck regress --accept` writes it anew.

[baseline]
simcheck = "0.1.0"
planner = "ring"
effort = 1
case_sha256 = "{digest}"
samples = 200
seed = 0

[plan]
result = "planned"
burns = 2
total_dv = "800 m/s"
commanded_dv = "802 m/s"
lower_bound_dv = "790 m/s"

[burn.B1]
ignition = "99900 s"
dv = "501 m/s"

[burn.B2]
ignition = "199900 s"
dv = "301 m/s"

[flight]
outcome = "flown"
verdict = "within"
arrival_time = "250000 s"

[error]
phase = "-0.012 deg"
period = "0.2 s"
eccentricity = 0.0001
plane = "0.004 deg"

[margin]
duration = "1046000 s"
dv = "698 m/s"
propellant = "80 kg"
altitude = "250 km"
radius = "47000 km"
separation = "880 km"

[dispersion]
within = "98.5 %"
dv_95 = "830 m/s"
"""


@pytest.fixture
def case(tmp_path: Path) -> Path:
    """Where a case file would be."""
    return tmp_path / "relay.toml"


def read(case: Path) -> Baseline:
    """The baseline that is there."""
    found = read_baseline(case)
    assert found is not None
    return found


def test_the_file_reads_as_a_case_does() -> None:
    """In a fixed order, with units, and no digit too many."""
    assert baseline_text("relay.toml", baseline()) == TEXT.format(digest="ab" * 32)


def test_it_stands_beside_its_case() -> None:
    """NAME.baseline.toml for NAME.toml."""
    assert baseline_path("cases/relay.toml") == Path("cases/relay.baseline.toml")


def test_what_is_written_comes_back(case: Path) -> None:
    """Values, in order, and how they were made; and written again it is the same file."""
    made = changed(baseline(), trial=Trial(planner='a "b" \x7f\\', effort=4, samples=7, seed=3))
    assert write_baseline(case, changed(made, trial=changed(made.trial, planner="mine")))
    found = read(case)
    assert found.values == VALUES
    assert list(found.values) == list(VALUES)
    assert found.trial.planner == "mine"
    assert (found.trial.effort, found.trial.samples, found.trial.seed) == (4, 7, 3)
    assert not write_baseline(case, found)
    tomllib.loads(baseline_text("relay.toml", made))  # whatever a planner is called


@given(
    sizes=st.lists(st.floats(-1e9, 1e9).map(lambda x: rounded(x, 1e-6)), min_size=30, max_size=30)
)
def test_any_values_come_back(tmp_path_factory: pytest.TempPathFactory, sizes: list[float]) -> None:
    """To twelve digits, which is more than any allowance leaves."""
    case = tmp_path_factory.mktemp("any") / "relay.toml"
    values: dict[str, Value] = {
        path: value
        if isinstance(value, str) or MEASURES.get(path, MEASURES["burn.dv_m_s"]).kind == "count"
        else float(f"{size:.9g}")
        for (path, value), size in zip(VALUES.items(), sizes, strict=False)
    }
    write_baseline(case, changed(baseline(), values=values))
    found = read(case).values
    assert list(found) == list(values)
    for path, value in values.items():
        same = isinstance(value, str) or math.isclose(float(found[path]), value, rel_tol=1e-11)
        assert same or found[path] == value
    assert not write_baseline(case, read(case))


def test_no_plan_is_a_short_file(case: Path) -> None:
    """The result and the limit that binds."""
    write_baseline(case, changed(baseline(), values=NO_PLAN, trial=Trial(samples=0)))
    assert read(case).values == NO_PLAN
    assert read(case).trial.samples == 0
    assert baseline_path(case).read_text().endswith('result = "no plan"\nlimit = "dv"\n')


def test_what_could_not_be_measured_comes_back(case: Path) -> None:
    """NaN is written in words."""
    write_baseline(case, changed(baseline(), values=VALUES | {"error.phase_deg": math.nan}))
    assert 'phase = "not known"' in baseline_path(case).read_text()
    assert math.isnan(float(read(case).values["error.phase_deg"]))


ALLOWED = """\
# The thrusters of this case come in steps of 0.1 m/s.
[allowed.plan]
commanded_dv = ["0.1 m/s", "0.2 %"]
total_dv = "0.3 %"
burns = 1

[allowed.error]
eccentricity = 1e-5
phase = "0.1 deg"
[allowed.burn]
ignition = "10 min"
[allowed.margin]
altitude = "15 km"
[allowed.dispersion]
within = "5 %"
"""


def test_a_person_may_allow_more_or_less(case: Path) -> None:
    """A size, a share, or both; per cent of a share of flights are per cent of all flights."""
    write_baseline(case, baseline())
    path = baseline_path(case)
    path.write_text(path.read_text() + "\n" + ALLOWED)
    assert read(case).allowed == {
        "plan.burns": Allowance(absolute=1.0),
        "plan.total_dv_m_s": Allowance(relative=0.003),
        "plan.commanded_dv_m_s": Allowance(absolute=0.1, relative=0.002),
        "burn.ignition_s": Allowance(absolute=600.0),
        "error.phase_deg": Allowance(absolute=0.1),
        "error.eccentricity": Allowance(absolute=1e-5),
        "margin.altitude_m": Allowance(absolute=15e3),
        "dispersion.within": Allowance(absolute=0.05),
    }


@pytest.mark.parametrize("first", [True, False])
def test_written_anew_the_allowances_stay_word_for_word(case: Path, first: bool) -> None:
    """With their comments, wherever in the file they stood; a third writing changes nothing."""
    write_baseline(case, baseline())
    path = baseline_path(case)
    parts = [ALLOWED, path.read_text()] if first else [path.read_text(), ALLOWED]
    path.write_text("\n".join(parts))
    before = read(case)
    write_baseline(case, changed(before, values=VALUES | {"plan.total_dv_m_s": 700.0}))
    text = path.read_text()
    assert "# The thrusters of this case come in steps of 0.1 m/s.\n[allowed.plan]\n" in text
    assert read(case).allowed == before.allowed
    assert read(case).values["plan.total_dv_m_s"] == 700.0
    assert not write_baseline(case, read(case))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"800 m/s"', "800", r"toml:15: \[plan\] total_dv: expected a speed with its unit"),
        ('"800 m/s"', '"800 s"', r"toml:15: \[plan\] total_dv: .* which is a time"),
        ("burns = 2", "burns = 2.5", r"toml:14: \[plan\] burns: expected a whole number"),
        ('result = "planned"', 'result = "done"', r"result: expected one of .planned., .no plan."),
        ('result = "planned"', "", r"toml:12: plan: result is missing"),
        ("lower_bound_dv", "lower_dv", r"toml:17: \[plan\] lower_dv: unknown key"),
        ("[burn.B2]", "[burn.B3]", r"\[burn\] B3: unknown key; expected B1, B2"),
        ("[margin]", "[margins]", r"\[margins\]: unknown table; did you mean margin"),
        ("effort = 1", "effort = 0", r"effort: expected at least 1"),
        ("[error]", "[error", r"toml:32: not valid TOML"),
        ("[error]", '[allowed.plan]\ndv = "1 m/s"\n[error]', r"dv: unknown key"),
        ("[error]", '[allowed.plan]\nburns = "1 m/s"\n[error]', r"expected a drift allowed"),
        ("[error]", "[allowed.plan]\ntotal_dv = 3\n[error]", r'write total_dv = \["2 m/s"'),
        ("[error]", '[allowed.plan]\ntotal_dv = "-3 m/s"\n[error]', r"expected a drift allowed"),
    ],
)
def test_a_fault_says_where_and_what_to_write(case: Path, old: str, new: str, message: str) -> None:
    """File, line and key, as for a case file."""
    write_baseline(case, baseline())
    path = baseline_path(case)
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(InputError, match=message):
        read_baseline(case)


def test_an_empty_baseline_is_told(case: Path) -> None:
    """It says how such a file comes to be."""
    baseline_path(case).write_text("\n")
    with pytest.raises(InputError, match="is empty; let `simcheck regress --accept` write it"):
        read_baseline(case)


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    """As wrong input, not as a bug."""
    with pytest.raises(InputError, match="cannot be written"):
        write_baseline(tmp_path / "gone" / "relay.toml", baseline())


def test_cases_come_with_their_baselines(tmp_path: Path) -> None:
    """None where there is none; and the faults of all files come together."""
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text(toml(), encoding="utf-8")
    write_baseline(tmp_path / "b.toml", baseline())
    (one, none), (two, some) = load_with_baselines([tmp_path])
    assert (Path(one.path).stem, none, Path(two.path).stem) == ("a", None, "b")
    assert some is not None
    (tmp_path / "a.toml").write_text(toml(drop=("engine",)), encoding="utf-8")
    baseline_path(tmp_path / "b.toml").write_text("[plan]\n")
    with pytest.raises(InputError) as raised:
        load_with_baselines([tmp_path])
    text = "\n".join(raised.value.faults)
    assert "a.toml" in text
    assert "b.baseline.toml" in text
