"""The document that `regress --json` prints."""

from __future__ import annotations

from typing import Any

from simcheck.files.records_json import write_record
from simcheck.records.baseline import CaseRegression, Difference, Regression
from simcheck.records.measures import measure_at
from simcheck.version import VERSION


def regression_document(found: Regression, stored: tuple[str, ...] = ()) -> dict[str, Any]:
    """Every case with its differences; stored are the paths of baselines written."""
    return {
        "schema": "simcheck.regress/1",
        "case": None,
        "simcheck": VERSION,
        "inputs_sha256": None,
        **write_record(found.trial),
        "kept": found.kept,
        "left_out": found.left_out,
        "stored": list(stored),
        "cases": [_case(case) for case in found.cases],
    }


def _case(one: CaseRegression) -> dict[str, Any]:
    made = one.baseline
    return {
        "case": {"title": one.title, "path": one.path, "epoch": one.epoch},
        "inputs_sha256": one.inputs_sha256,
        "standing": one.standing,
        "failure": one.found.failure,
        "messages": list(one.found.messages),
        "notes": list(one.notes),
        "baseline": None
        if made is None
        else {
            "simcheck": made.simcheck,
            "inputs_sha256": made.inputs_sha256,
            **write_record(made.trial),
        },
        "found": _numbers(one),
        "differences": [_difference(difference) for difference in one.differences],
    }


def _numbers(one: CaseRegression) -> dict[str, Any]:
    return {str(key): value for key, value in write_record(one.found)["values"].items()}


def _difference(one: Difference) -> dict[str, Any]:
    measure = measure_at(one.path)
    return {
        **write_record(one),
        "better": measure.better,
        "unit": measure.unit,
    }
