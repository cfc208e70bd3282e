"""The JSON documents that commands print with --json, versioned by their `schema`.

Field names are those of the records. Angles of a tolerance are in degrees, as its error is.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any, Literal

from simcheck.errors import NoPlanError, SimcheckError
from simcheck.files.plan_json import PLAN_SCHEMA
from simcheck.files.records_json import write_record
from simcheck.judging import limit_uses
from simcheck.measuring import REVOLUTIONS, SAMPLES, RingMotion
from simcheck.records.advice import Advice
from simcheck.records.case import Case
from simcheck.records.dispersion import Dispersion, columns_of
from simcheck.records.fleet import Assignment, Fleet
from simcheck.records.flight import Flight, Verdict
from simcheck.records.hold import Hold
from simcheck.records.plan import Plan
from simcheck.records.quantities import listed_tolerances
from simcheck.records.setback import Setback
from simcheck.version import VERSION

Document = dict[str, Any]


def plan_document(case: Case, plan: Plan, ring: RingMotion) -> Document:
    """What `plan --json` prints: the plan's fields beside the common ones."""
    return _common(PLAN_SCHEMA, case, ring) | write_record(plan)


def flight_document(
    command: Literal["check", "fly"],
    case: Case,
    *,
    plan: Plan,
    flight: Flight,
    verdict: Verdict,
    ring: RingMotion,
    setbacks: tuple[Setback, ...] = (),
) -> Document:
    """What `check --json` and `fly --json` print: the plan, the flight and the verdict on it.

    `check` adds what losing burns would cost.
    """
    flown = write_record(flight)
    numerical = {
        "engine_disagreement_m": flown.pop("engine_disagreement_m"),
        "propagator": flown.pop("propagator"),
        "averaged_revolutions": REVOLUTIONS,
        "samples_per_revolution": SAMPLES,
    }
    judged = write_record(verdict)
    return {
        **_common(f"simcheck.{command}/1", case, ring),
        "verdict": judged.pop("verdict"),
        "plan": write_record(plan),
        **flown,
        "tolerance": listed_tolerances(case.tolerance),
        **judged,
        "limits": {limit.key: limit.limit for limit in limit_uses(case, flight)},
        "numerical": numerical,
        **({"setbacks": [write_record(x) for x in setbacks]} if command == "check" else {}),
    }


def advice_document(case: Case, advice: Advice, ring: RingMotion) -> Document:
    """What `trim --json` prints: the errors now, the burns to do next and what they leave."""
    return {
        **_common("simcheck.trim/1", case, ring),
        **write_record(advice),
        "tolerance": listed_tolerances(case.tolerance),
    }


def dispersion_document(case: Case, plan: Plan, found: Dispersion, ring: RingMotion) -> Document:
    """What `disperse --json` prints: the plan and what its flights say together."""
    return {
        **_common("simcheck.disperse/1", case, ring),
        "plan": write_record(plan),
        **write_record(found),
        "columns": [
            dict(zip(("name", "type", "unit", "meaning"), c, strict=True)) for c in columns_of(case)
        ],
    }


def assignment_document(fleet: Fleet, found: Assignment, ring: RingMotion) -> Document:
    """What `assign --json` prints: who goes where, each with plan, flight and verdict."""
    return {
        **_common("simcheck.assign/1", fleet.base, ring),
        **write_record(found),
        "tolerance": listed_tolerances(fleet.base.tolerance),
    }


def hold_document(case: Case, plan: Plan | None, found: Hold, ring: RingMotion) -> Document:
    """What `hold --json` prints: the plan that was flown, if any, and the ring that follows."""
    return {
        **_common("simcheck.hold/1", case, ring),
        "plan": None if plan is None else write_record(plan),
        **write_record(found),
        "first_days": found.first_days,
        "verdict": "holds" if found.first_days is None else "kept" if found.kept else "lost",
        "tolerance": listed_tolerances(case.tolerance),
    }


def error_document(command: str, path: str, error: SimcheckError, case: Case | None) -> Document:
    """What a command prints with --json when it ends in an error: code and message, no result."""
    found: Document = {"exit_code": error.exit_code, "message": str(error)}
    if isinstance(error, NoPlanError):
        excess = error.excess if math.isfinite(error.excess) else None
        found |= {"limit": error.limit, "excess": excess}
    return {
        "schema": "simcheck.error/1",
        "case": {"title": None, "path": path, "epoch": None} if case is None else _case(case),
        "simcheck": VERSION,
        "inputs_sha256": None if case is None else case.inputs_sha256,
        "command": command,
        "error": found,
    }


def _common(schema: str, case: Case, ring: RingMotion) -> Document:
    return {
        "schema": schema,
        "case": _case(case),
        "simcheck": VERSION,
        "inputs_sha256": case.inputs_sha256,
        "constants": _constants(case, ring),
    }


def _case(case: Case) -> Document:
    return {"title": case.title, "path": case.path, "epoch": case.epoch}


def _constants(case: Case, ring: RingMotion) -> Document:
    """Constants of the body, each with its source, and the ring that they make."""
    body = write_record(case.body)
    names = (field.name for field in dataclasses.fields(case.body))
    return {
        **{name: body[name] for name in names},
        "forces": list(case.forces),
        "ring": {
            "radius_m": float(ring.radius_m),
            "period_s": float(ring.period_s),
            "node_rate_rad_s": float(ring.node_rate),
        },
    }
