"""A plan from a file: our own JSON, or a message with manoeuvres, an OPM or an OCM.

Which of them a file is shows in what it holds, not in its name.
"""

from __future__ import annotations

import re
from pathlib import Path

from simcheck.errors import InputError
from simcheck.files import plan_json
from simcheck.files.message_plan import read_ocm_plan, read_opm_plan
from simcheck.files.ocm import VERSION_KEYWORD as OCM
from simcheck.files.opm import VERSION_KEYWORD as OPM
from simcheck.files.plain_text import decoded, read_bytes
from simcheck.files.records_json import shown
from simcheck.records.case import Case
from simcheck.records.plan import Plan

_FORMS = (
    f"expected a plan as a JSON document of ours, an orbit parameter message ({OPM} = 3.0, ...) or "
    f"an orbit comprehensive message ({OCM} = 3.0, ...)"
)
_LOOK = 4096  # bytes in which a form shows


def read_plan(path: str | Path, case: Case | None = None) -> Plan:
    """The plan in a file. A message needs the case, whose engines and epoch it is flown with.

    Raises InputError with all faults, each naming the file and the key, or line and keyword.
    """
    file = str(path)
    form = _form(path, file)
    if form == "json":
        return plan_json.read_plan(path, case)
    if case is None:
        raise InputError(f"{file}: a plan in a message is read for a case; give the case too")
    read = read_opm_plan if form == OPM else read_ocm_plan
    return read(read_bytes(path, "message"), file, case)


def _form(path: str | Path, file: str) -> str:
    """ "json" or the version keyword of a message."""
    try:
        with Path(path).open("rb") as stream:
            start = stream.read(_LOOK)
    except (OSError, ValueError):
        return "json"  # whose reader says why it cannot be read
    text = start.decode("utf-8-sig", "replace").lstrip()
    if not text or text.startswith(("{", "[", '"')):
        return "json"
    if text.startswith("<"):
        raise InputError(f"{file}: {_FORMS}, got XML; send the message in its keyword form")
    other = re.match(r"CCSDS_(\w+)_VERS\b", text)
    if other and f"CCSDS_{other[1]}_VERS" in {OPM, OCM}:
        return f"CCSDS_{other[1]}_VERS"
    if other:
        raise InputError(f"{file}: {_FORMS}, got another message, {other[1]}")
    line = decoded(read_bytes(path, "plan"), file).strip().splitlines()[0]
    raise InputError(f"{file}: {_FORMS}, got text that begins {shown(line)}")
