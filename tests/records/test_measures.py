"""The table of measures: complete, with a reason each, and digits that go with the allowances."""

from __future__ import annotations

import math

import pytest

from simcheck.records.measures import (
    GROUPS,
    MEASURES,
    Allowance,
    measure_at,
    paths_of,
    rounded,
    text_of,
)


def test_every_measure_has_a_group_an_allowance_and_a_reason() -> None:
    """Nothing numeric but a count is held exactly, and each says why its drift is allowed."""
    for path, measure in MEASURES.items():
        assert measure.group in GROUPS
        assert path == f"{measure.group}.{measure.name}"
        assert len(measure.why) > 10
        exact = measure.kind in {"word", "count"}
        assert (measure.allowed == Allowance()) == exact


def test_keys_are_names_without_their_units() -> None:
    """A baseline's key is the record's name less its unit, and stands once in a group."""
    keys = [(measure.group, measure.key) for measure in MEASURES.values()]
    assert len(set(keys)) == len(keys)
    assert all(measure.name.startswith(measure.key) for measure in MEASURES.values())


def test_burns_have_paths_of_their_own() -> None:
    """Each burn's values by its label, in order of burns; groups of other kinds once."""
    assert list(paths_of("burn", 2)) == [
        "burn.B1.ignition_s",
        "burn.B1.dv_m_s",
        "burn.B2.ignition_s",
        "burn.B2.dv_m_s",
    ]
    assert "plan.total_dv_m_s" in list(paths_of("plan", 2))
    assert measure_at("burn.B12.dv_m_s") is MEASURES["burn.dv_m_s"]
    assert text_of("burn.B12.ignition_s") == "ignition of B12"


def test_an_allowance_takes_the_larger_of_its_two() -> None:
    """A share of a large value, a size for a small one, and no share of an unknown."""
    allowed = Allowance(0.01, 1e-3)
    assert allowed.drift(-830.0) == pytest.approx(0.83)
    assert allowed.drift(5.0) == 0.01
    assert allowed.drift(math.nan) == 0.01


@pytest.mark.parametrize(
    ("value", "drift", "kept"),
    [
        (830.73345, 0.83, 830.73),
        (98324.6, 60.0, 98325.0),
        (-0.0039, 0.1, 0.0),
        (3_107_942.1, 2000.0, 3_107_900.0),
        (0.0123456, 0.01, 0.012),
        (2.0, 0.0, 2.0),
    ],
)
def test_digits_are_worth_a_tenth_of_the_drift(value: float, drift: float, kept: float) -> None:
    """What is rounded away is at most a twentieth of what may drift; a zero has no sign."""
    assert rounded(value, drift) == kept
    assert abs(rounded(value, drift) - value) <= drift / 20 or drift == 0.0
    assert math.copysign(1.0, rounded(-0.001, 1.0)) == 1.0


def test_what_is_not_known_is_not_rounded() -> None:
    """NaN stays NaN."""
    assert math.isnan(rounded(math.nan, 1.0))
