"""The JSON documents: their fields, which others read by name."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

import simcheck
from simcheck.errors import InputError, NoPlanError
from simcheck.files.documents import error_document, flight_document, plan_document
from simcheck.judging import judge
from simcheck.records.case import Tolerance
from tests.cli import samples

COMMON = {"schema", "case", "simcheck", "inputs_sha256", "constants"}
BURN = {"label", "reason", "time_s", "position_m", "dv_m_s", "dv_rsw_m_s", "magnitude_m_s"}
PLAN = {
    "burns",
    "total_dv_m_s",
    "arrival_time_s",
    "arrival_state",
    "lower_bound_dv_m_s",
    "alternatives",
    "commands",
}
COMMAND = {"burn", "engine", "ignition_s", "duration_s", "steering", "direction", "cutoff"}
ARC = {"kind", "start_s", "end_s", "thrust_n", "isp_s", "steering", "direction", "start", "end"}
FLOWN = {
    "plan",
    "arcs",
    "errors",
    "tolerance",
    "within",
    "verdict",
    "dv_used_m_s",
    "propellant_used_kg",
    "margins",
    "numerical",
    "neighbours",
    "events",
}


def plan_made() -> dict[str, Any]:
    case = samples.case()
    return plan_document(case, samples.plan(), samples.ring(case))


def flight_made(case: Any = None, **fields: Any) -> dict[str, Any]:
    case, flight = case or samples.case(), samples.flight(**fields)
    return flight_document(
        "check",
        case,
        plan=samples.plan(),
        flight=flight,
        verdict=judge(case, flight),
        ring=samples.ring(case),
    )


def test_common_fields() -> None:
    """Every document names its schema, case, version, inputs and constants with sources."""
    for document, schema in ((plan_made(), "simcheck.plan/1"), (flight_made(), "simcheck.check/1")):
        assert document.keys() >= COMMON
        assert document["schema"] == schema
        assert document["simcheck"] == simcheck.__version__
        assert document["inputs_sha256"] == "ab" * 32
        assert document["case"] == {
            "title": "A fourth relay for the ring",
            "path": "cases/relay.toml",
            "epoch": "2031-04-12T06:00:00",
        }
        constants = document["constants"]
        wanted = {"gm_m3_s2", "radius_m", "j2", "j3", "j4", "forces", "sources", "ring"}
        assert constants.keys() >= wanted
        assert constants["forces"] == ["j2"]
        assert constants["sources"]["gm"]
        assert constants["ring"]["radius_m"] == samples.RADIUS_M
        assert constants["ring"]["period_s"] == samples.PERIOD_S


def test_plan_fields() -> None:
    """A plan's fields stand at the top, vectors as lists of three numbers."""
    document = plan_made()
    assert document.keys() >= PLAN
    for burn in document["burns"]:
        assert burn.keys() >= BURN
        assert all(len(burn[name]) == 3 for name in ("position_m", "dv_m_s", "dv_rsw_m_s"))
    assert document["arrival_state"].keys() == {"position_m", "velocity_m_s"}
    for command in document["commands"]:
        assert command.keys() >= COMMAND
        assert np.linalg.norm(command["direction"]) == pytest.approx(1.0)


def test_flight_fields() -> None:
    """A flight's fields stand beside its plan, arcs with the state at both ends."""
    document = flight_made()
    assert document.keys() >= FLOWN
    assert document["plan"].keys() >= PLAN
    assert not document["plan"].keys() & COMMON
    for arc in document["arcs"]:
        assert arc.keys() >= ARC
        assert arc["kind"] in {"coast", "burn"}
        for end in ("start", "end"):
            assert arc[end].keys() == {"position_m", "velocity_m_s", "mass_kg"}
    assert document["errors"].keys() == {"phase_deg", "period_s", "eccentricity", "plane_deg"}
    tolerance = {"phase_deg": 0.5, "period_s": 5.0, "eccentricity": 0.002, "plane_deg": 0.1}
    assert document["tolerance"] == tolerance
    assert document["within"].keys() == {"phase", "period", "eccentricity", "plane"}
    assert document["verdict"] == "within"
    assert document["numerical"]["engine_disagreement_m"] == 0.02
    assert document["numerical"]["propagator"] == "taylor"


def test_only_listed_tolerances_appear() -> None:
    """What the case does not list is neither in `tolerance` nor in `within`."""
    document = flight_made(samples.case(tolerance=Tolerance(period_s=5.0)))
    assert document["tolerance"] == {"period_s": 5.0}
    assert document["within"] == {"period": True}


def test_documents_are_plain_json() -> None:
    """No document needs NaN or infinity, which JSON does not have."""
    nan = float("nan")
    document = flight_made(lowest_altitude_m=nan, drift_deg_day=nan, errors=samples.no_orbit())
    again = json.loads(json.dumps(document, allow_nan=False))
    assert again == document
    assert again["errors"]["phase_deg"] is None
    assert again["within"]["phase"] is False
    assert again["verdict"] == "outside"


def test_error_documents() -> None:
    """A failed run says with which code and why, and which limit binds."""
    error = NoPlanError("no plan", limit="duration", excess=3.5)
    document = error_document("plan", "c.toml", error, samples.case())
    assert document["schema"] == "simcheck.error/1"
    assert document["error"] == {
        "exit_code": 3,
        "message": "no plan",
        "limit": "duration",
        "excess": 3.5,
    }
    early = error_document("plan", "c.toml", InputError("wrong"), None)
    assert early["case"]["path"] == "c.toml"
    assert early["error"] == {"exit_code": 2, "message": "wrong"}
