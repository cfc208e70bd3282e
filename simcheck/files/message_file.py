"""A plan or a flight written to a message, of the kind that the file's suffix says.

`.opm` and `.ocm` hold the burns, `.oem` the states of a flight. Advice goes to an `.ocm`, the one
kind that tells burns to come from burns of the past.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path

from simcheck.errors import InputError
from simcheck.files.epochs import read_date
from simcheck.files.message_content import content_from, content_of
from simcheck.files.ocm_write import ocm_text
from simcheck.files.oem_write import needed, oem_text
from simcheck.files.opm_write import opm_text
from simcheck.files.whole_file import write_whole
from simcheck.records.advice import Advice
from simcheck.records.case import Case
from simcheck.records.flight import Flight, Verdict
from simcheck.records.plan import Plan
from simcheck.records.reconstruction import Reconstruction

OF_PLANS = (".opm", ".ocm")
OF_FLIGHTS = (*OF_PLANS, ".oem")
OF_ADVICE = (".ocm",)


def check_targets(paths: Sequence[str | Path], case: Case, kinds: tuple[str, ...]) -> None:
    """See before the work that all messages can be written; raises InputError where not.

    kinds: the suffixes that the command can write. A file that is there is not overwritten.
    """
    faults = [fault for path in paths if (fault := _target(Path(path), kinds))]
    faults += [f"{path}: named twice" for k, path in enumerate(paths) if path in paths[:k]]
    if paths and case.epoch is None:
        faults.append(
            f"{case.path}: a message has dates, and the case has no epoch; write epoch under "
            '[case], in TDB: epoch = "2031-04-12T06:00:00"'
        )
    if faults:
        raise InputError(*faults)
    if any(Path(path).suffix.lower() == ".oem" for path in paths):
        needed()


def write_message(
    path: str | Path,
    case: Case,
    plan: Plan,
    flight: Flight | None = None,
    verdict: Verdict | None = None,
) -> None:
    """Write the plan, or what its flight made of it; whole or not at all.

    Raises InputError where the file cannot be such a message, OSError where the disk takes no more.
    """
    check_targets([path], case, OF_FLIGHTS if flight else OF_PLANS)
    kind, epoch = Path(path).suffix.lower(), case.epoch or ""
    read_date(epoch)
    created = _now()
    if kind == ".oem" and flight is not None:
        text = oem_text(case, flight, epoch, created)
    else:
        text_of = opm_text if kind == ".opm" else ocm_text
        text = text_of(content_of(case, plan, flight, verdict), epoch, created)
    _write(path, text)


def write_advice(
    path: str | Path, case: Case, advice: Advice, made: Reconstruction | None = None
) -> None:
    """Write a tracked state, the burns to do next and the burn made before it; whole or not at all.

    Raises InputError where the file cannot be such a message, OSError where the disk takes no more.
    """
    check_targets([path], case, OF_ADVICE)
    epoch = case.epoch or ""
    read_date(epoch)
    content = content_from(case, advice.estimate, advice.plan, made)
    _write(path, ocm_text(content, epoch, _now()))


def _now() -> str:
    return f"{datetime.datetime.now(datetime.UTC):%Y-%m-%dT%H:%M:%S}"


def _write(path: str | Path, text: str) -> None:
    try:
        write_whole(Path(path), text.encode("ascii"))
    except PermissionError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from None


def _target(path: Path, kinds: tuple[str, ...]) -> str:
    """Why nothing can be written there; empty where it can."""
    if path.suffix.lower() not in kinds:
        expected = " or ".join(filter(None, (", ".join(kinds[:-1]), kinds[-1])))
        also = "; an ephemeris needs a flight: simcheck fly" if path.suffix == ".oem" else ""
        return f"{path}: expected a file that ends in {expected}{also}"
    try:
        if path.exists() or path.is_symlink():
            return f"{path}: is there already; remove it or name another file"
        if not path.parent.is_dir():
            return f"{path}: there is no folder {path.parent}"
    except (OSError, ValueError) as error:
        return f"{path}: cannot be written: {error}"
    return ""
