"""A measured state from a file: our own JSON, a message (OPM, OCM), or a two-line set.

Which of them a file is shows in what it holds, not in its name. Ours is one object:

    {"time_s": 86400.0, "position_m": [x, y, z], "velocity_m_s": [x, y, z]}

in seconds past the case's epoch and the case's inertial axes; `mass_kg`, `covariance` (6 by 6, m
and m/s), `source` (words for people) and `schema` ("simcheck-state/1") may be added.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np

from simcheck.errors import InputError
from simcheck.files.case_motion import km, orbit_fault
from simcheck.files.covariances import covariance_fault
from simcheck.files.epochs import NO_CASE_EPOCH, Instant, read_date
from simcheck.files.ocm import ComprehensiveMessage, read_ocm
from simcheck.files.ocm_state import ocm_estimate
from simcheck.files.opm import VERSION_KEYWORD, OrbitMessage, opm_estimate, read_opm
from simcheck.files.plain_text import decoded, read_bytes
from simcheck.files.records_json import load_json, read_record, shown
from simcheck.files.tle import TwoLineSet, read_tle, tle_estimate
from simcheck.records.case import Body, Case
from simcheck.records.estimate import Estimate

STATE_SCHEMA = "simcheck-state/1"

Form: TypeAlias = Literal["opm", "ocm", "tle"]
Message: TypeAlias = OrbitMessage | ComprehensiveMessage | TwoLineSet

_LARGEST = 1e24  # as for the numbers of a case
_LATEST_S = 1e9  # as for the times of a plan
_MASS = 1e-6  # relative: how far below the dry mass rounding may bring a mass
_FORMS = (
    f"expected a state as a JSON object, an orbit parameter message ({VERSION_KEYWORD} = 3.0, ...) "
    "or comprehensive one (CCSDS_OCM_VERS), or a two-line element set"
)

_SHAPES: dict[str, tuple[tuple[int, ...], str]] = {
    "position_m": ((3,), "three numbers"),
    "velocity_m_s": ((3,), "three numbers"),
    "covariance": ((6, 6), "six rows of six numbers"),
}
_IN_METRES = "; it is in metres"
_JSON_NAMES = {
    "time": "time_s",
    "position": "position_m",
    "velocity": "velocity_m_s",
    "mass": "mass_kg",
}
_MESSAGE_NAMES = {"time": "epoch", "position": "position", "velocity": "velocity", "mass": "MASS"}


def read_state(path: str | Path, case: Case) -> Estimate:
    """The measured state in a file, in the case's time and inertial axes.

    Raises InputError with all faults, each naming the file and the key, keyword or column.
    """
    file = str(path)
    content = read_bytes(path)
    form = _form(decoded(content, file), file)
    if form == "json":
        estimate = _read_json(path, file)
    else:
        message = read_message(form, content, file)
        if case.epoch is None:
            raise InputError(f"{file}: {NO_CASE_EPOCH}")
        estimate = estimate_of(message, case.body, read_date(case.epoch), file)
    faults = _sense(estimate, case, form)
    if faults:
        raise InputError(*(f"{file}: {fault}" for fault in faults))
    return estimate


def read_message(form: Form, content: bytes, file: str) -> Message:
    """The message of that form in the bytes of a file. Raises InputError where it is none."""
    if form == "opm":
        return read_opm(content, file)
    return read_ocm(content, file) if form == "ocm" else read_tle(content, file)


def estimate_of(message: Message, body: Body, epoch: Instant, file: str) -> Estimate:
    """The state of a message in the time and axes of a case about `body` with that epoch."""
    if isinstance(message, OrbitMessage):
        return opm_estimate(message, body, epoch, file)
    if isinstance(message, ComprehensiveMessage):
        return ocm_estimate(message, body, epoch, file)
    return tle_estimate(message, body, epoch, file)


def _form(text: str, file: str) -> Literal["json", "opm", "ocm", "tle"]:
    """Which of the four the text is meant to be."""
    first = text.lstrip().splitlines()[0].rstrip()
    if first.startswith(("{", "[", '"')):
        return "json"
    if first.startswith("<"):
        raise InputError(f"{file}: {_FORMS}, got XML; send the message in its keyword form")
    other = re.match(r"CCSDS_(\w+)_VERS\b", first)
    if other and other[1] == "OCM":
        return "ocm"
    if other and other[1] != "OPM":
        raise InputError(f"{file}: {_FORMS}, got another message, {shown(other[1])[1:-1]}")
    if other or "=" in first:
        return "opm"
    if re.search(r"(?m)^\s*[12] [0-9A-Z ]{5}[A-Z ]? ", text):
        return "tle"
    if re.match(r"COMMENT\b", first):
        return "opm"
    raise InputError(f"{file}: {_FORMS}, got text that begins {shown(first)}")


def _read_json(path: str | Path, file: str) -> Estimate:
    """Our own object."""
    value = load_json(path)
    if not isinstance(value, dict):
        raise InputError(f"{file}: expected an object, got {shown(value)}")
    faults = []
    if "schema" in value and value["schema"] != STATE_SCHEMA:
        faults.append(f"schema: expected {STATE_SCHEMA}, got {shown(value['schema'])}")
    given = {"source": f"state file {file}"} | {k: v for k, v in value.items() if k != "schema"}
    for key, (lengths, what) in _SHAPES.items():
        if isinstance(given.get(key), list) and not _has_shape(given[key], lengths):
            faults.append(f"{key}: expected {what}, got {_shape(given[key])}")
            given[key] = np.zeros(lengths).tolist()  # stands in, so that other faults are found
    faults = [f"{file}: {fault}" for fault in faults]
    try:
        estimate = read_record(Estimate, given, file, finite=True)
    except InputError as error:
        faults += error.faults
    if faults:
        raise InputError(*faults)
    return estimate


def _has_shape(value: object, lengths: tuple[int, ...]) -> bool:
    if not lengths or not isinstance(value, list):
        return not lengths and not isinstance(value, list)
    return len(value) == lengths[0] and all(_has_shape(item, lengths[1:]) for item in value)


def _shape(value: list[object]) -> str:
    """What a list holds, in words."""
    rows = sorted({len(item) for item in value if isinstance(item, list)})
    return shown(value) + (f" with rows of {' and '.join(map(str, rows))}" if rows else "")


def _sense(estimate: Estimate, case: Case, form: str) -> list[str]:
    """What cannot be true of the case's craft. An orbit that meets the ground can."""
    body, position = case.body, estimate.position_m
    names = _JSON_NAMES if form == "json" else _MESSAGE_NAMES
    faults = []
    if not 0.0 <= estimate.time_s <= _LATEST_S:
        faults.append(
            f"{names['time']}: expected a time from the case's epoch to {_LATEST_S:.0e} s past it, "
            f"got {estimate.time_s:.9g} s"
        )
    velocity = estimate.velocity_m_s
    if np.abs([position, velocity]).max() > _LARGEST:
        return [*faults, f"{names['position']}: this state is too large to compute with"]
    height = float(np.linalg.norm(position)) - body.radius_m
    wrong = None if height < 0.0 else orbit_fault(position, velocity, body)
    if height < 0.0:
        faults.append(
            f"{names['position']}: expected a place above the surface of {body.name}, "
            f"got one {km(-height)} below it{_IN_METRES if form == 'json' else ''}"
        )
    elif wrong:
        faults.append(f"{names[wrong[0]]}: {wrong[1]}")
    mass, dry = estimate.mass_kg, case.craft.dry_mass_kg
    if mass is not None and mass < dry * (1.0 - _MASS):
        faults.append(
            f"{names['mass']}: expected no less than the craft's dry mass, {dry:g} kg, "
            f"got {mass:g} kg"
        )
    if estimate.covariance is not None and form == "json":
        fault = covariance_fault(estimate.covariance)
        faults += [f"covariance: {fault}"] if fault else []
    return faults
