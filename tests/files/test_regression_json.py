"""The document of `regress --json`: plain JSON with what moved and by how much."""

from __future__ import annotations

import json
import math

from simcheck.files.regression_json import regression_document
from simcheck.records.baseline import Found, Trial
from simcheck.regressing.comparing import compare
from tests.regressing.bench import CASE, baseline, compared, found, regression


def test_each_case_says_what_moved() -> None:
    """The common fields, each case with its own hash, each difference with its numbers."""
    made = regression(compared({"plan.total_dv_m_s": 900.0}), left_out=1)
    document = json.loads(json.dumps(regression_document(made, ("a",)), allow_nan=False))
    assert document["schema"] == "simcheck.regress/1"
    assert {"case", "simcheck", "inputs_sha256"} <= document.keys()
    assert (document["planner"], document["samples"]) == ("ring", 200)
    assert (document["kept"], document["left_out"], document["stored"]) == (False, 1, ["a"])
    (case,) = document["cases"]
    assert case["case"]["path"] == CASE.path
    assert case["inputs_sha256"] == CASE.inputs_sha256
    assert case["found"]["plan.total_dv_m_s"] == 900.0
    rows = {row["path"]: row for row in case["differences"]}
    assert rows["plan.total_dv_m_s"] == {
        "path": "plan.total_dv_m_s",
        "baseline": 800.0,
        "found": 900.0,
        "change": 100.0,
        "allowed": 0.8,
        "move": "worse",
        "better": "lower",
        "unit": "m/s",
    }
    assert rows["plan.burns"]["move"] == "same"


def test_what_is_not_known_is_still_json() -> None:
    """NaN, a failure, and a case without a baseline."""
    failed = compare(CASE, Found(values={}, failure="why"), baseline(), Trial())
    lone = compare(CASE, found({"error.phase_deg": math.nan}), None, Trial())
    unknown = compared({"error.phase_deg": math.nan})
    document = regression_document(regression(failed, lone, unknown))
    text = json.dumps(document, allow_nan=False)
    assert [case["standing"] for case in json.loads(text)["cases"]] == [
        "failed",
        "no baseline",
        "worse",
    ]
