"""Baselines: a small TOML file beside each case file, with units as in that one.

`NAME.baseline.toml` belongs to `NAME.toml`. Written in a fixed order; its [allowed] tables are a
person's and stand in the new file as they stood in the old one, comments included.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from simcheck.errors import InputError
from simcheck.files.baseline_values import quoted, read_allowed, read_values, written
from simcheck.files.case_search import BASELINE, find_cases
from simcheck.files.case_tables import Table
from simcheck.files.case_toml import load_case
from simcheck.files.plain_text import decoded, read_bytes
from simcheck.files.toml_tables import parsed
from simcheck.files.whole_file import write_whole
from simcheck.records.baseline import Baseline, Trial
from simcheck.records.case import Case
from simcheck.records.measures import GROUPS, Value, measure_at, paths_of

_HEAD = """\
# What {name} gave when somebody accepted it: `simcheck regress` compares with this, and
# `simcheck regress --accept` writes it anew.
"""
_ALLOWED = re.compile(r"(?:^#.*\n)*^\[allowed\b.*\n?(?:^(?!\[).*\n?)*", re.M)
"""A table of allowances, with the comment above it."""


def baseline_path(case: str | Path) -> Path:
    """Where the baseline of a case file is kept."""
    path = Path(case)
    return path.with_name(path.stem + BASELINE)


def read_baseline(case: str | Path) -> Baseline | None:
    """The baseline beside a case file, None where there is none.

    Raises InputError with one line a fault.
    """
    path = baseline_path(case)
    if not path.exists():
        return None
    start = "let `simcheck regress --accept` write it"
    data, faults = parsed(read_bytes(path, "baseline"), str(path), start)
    top = Table(faults, (), data)
    head = _read_head(top)
    values = read_values(top)
    allowed = read_allowed(top)
    top.close()
    faults.raise_any()
    simcheck, planner, digest, trial = head
    return Baseline(
        simcheck=str(simcheck),
        trial=Trial(planner=str(planner), **trial),
        inputs_sha256=str(digest),
        values=values,
        allowed=allowed,
    )


def _read_head(top: Table) -> tuple[str | None, str | None, str | None, dict[str, int]]:
    table = top.table("baseline", "let `simcheck regress --accept` write this file")
    if table is None:
        return None, None, None, {}
    head = (
        table.text("simcheck", "0.1.0"),
        table.text("planner", "ring"),
        table.text("case_sha256", "the SHA-256 of the case file"),
    )
    trial = {
        "effort": table.whole("effort", "1", default=1, at_least=1) or 0,
        "samples": table.whole("samples", "200", default=0) or 0,
        "seed": table.whole("seed", "0", default=0) or 0,
    }
    table.close()
    return (*head, trial)


def write_baseline(case: str | Path, baseline: Baseline) -> bool:
    """Write the baseline of a case file; whether that changed anything.

    Raises InputError where it cannot be written, OSError where the disk takes no more.
    """
    path = baseline_path(case)
    old = decoded(read_bytes(path, "baseline"), str(path)) if path.exists() else ""
    blocks = [baseline_text(Path(case).name, baseline)]
    blocks += [x.strip("\n") + "\n" for x in _ALLOWED.findall(old.replace("\r\n", "\n"))]
    text = "\n".join(blocks)
    if text == old:
        return False
    try:
        write_whole(path, text.encode())
    except (FileNotFoundError, PermissionError) as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from None
    return True


def baseline_text(name: str, baseline: Baseline) -> str:
    """The file without its [allowed] tables."""
    blocks = [_HEAD.format(name=name), _block("baseline", _head(baseline))]
    for group in GROUPS:
        blocks += _group_blocks(group, baseline.values)
    return "\n".join(blocks)


def _head(baseline: Baseline) -> dict[str, str]:
    trial = baseline.trial
    lines = {
        "simcheck": quoted(baseline.simcheck),
        "planner": quoted(trial.planner),
        "effort": str(trial.effort),
        "case_sha256": quoted(baseline.inputs_sha256),
    }
    if trial.samples:
        lines |= {"samples": str(trial.samples), "seed": str(trial.seed)}
    return lines


def _group_blocks(group: str, values: dict[str, Value]) -> Iterator[str]:
    burns = len({path.split(".")[1] for path in values if path.startswith("burn.")})
    tables: dict[str, dict[str, str]] = {}
    for path in paths_of(group, burns):
        if path in values:
            measure = measure_at(path)
            table = tables.setdefault(path.rpartition(".")[0], {})
            table[measure.key] = written(measure, values[path])
    yield from (_block(name, lines) for name, lines in tables.items())


def _block(name: str, lines: dict[str, str]) -> str:
    return f"[{name}]\n" + "".join(f"{key} = {text}\n" for key, text in lines.items())


def load_with_baselines(paths: Iterable[str | Path]) -> list[tuple[Case, Baseline | None]]:
    """The cases of files and folders, each with the baseline beside it, None where there is none.

    Raises InputError with the faults of all files at once.
    """
    jobs, faults = [], list[str]()
    for path in find_cases(paths):
        try:
            case = load_case(path)
        except InputError as error:
            faults += error.faults
            continue
        try:
            jobs.append((case, read_baseline(path)))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(*faults)
    return jobs
