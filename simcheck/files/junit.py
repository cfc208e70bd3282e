"""JUnit XML of a regression: a test case for each case and group of measures.

What CI servers read: `testsuites`, a `testsuite` a case, and in it `testcase` with `failure` for
what got worse or changed, `error` for what could not be compared, `system-out` for the rest.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree as ET

from simcheck.errors import InputError
from simcheck.files.whole_file import write_whole
from simcheck.records.baseline import CaseRegression, Difference, Regression
from simcheck.records.measures import GROUPS, measure_at

_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 has no way to write."""


def write_junit(path: str | Path, found: Regression) -> None:
    """Write the file. Raises InputError where it cannot be, OSError where the disk is full."""
    try:
        write_whole(Path(path), junit_xml(found))
    except (FileNotFoundError, PermissionError, IsADirectoryError) as error:
        raise InputError(f"--junit {path}: cannot be written: {error.strerror}") from None


def junit_xml(found: Regression) -> bytes:
    """The document, UTF-8."""
    root = ET.Element("testsuites", name="simcheck regress")
    for case in found.cases:
        root.append(_suite(case))
    for key in ("tests", "failures", "errors"):
        root.set(key, str(sum(int(suite.get(key, "0")) for suite in root)))
    root.set("time", f"{sum(case.found.seconds for case in found.cases):.3f}")
    ET.indent(root)
    data: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return data + b"\n"


def _suite(case: CaseRegression) -> ET.Element:
    suite = ET.Element("testsuite", name=_clean(case.path))
    suite.extend(_tests(case))
    suite.set("tests", str(len(suite)))
    suite.set("failures", str(len(suite.findall("testcase/failure"))))
    suite.set("errors", str(len(suite.findall("testcase/error"))))
    suite.set("time", f"{case.found.seconds:.3f}")
    return suite


def _tests(case: CaseRegression) -> Iterator[ET.Element]:
    if case.standing in {"failed", "no baseline"}:
        test = _test(case, "baseline")
        said = case.found.failure or "there is no baseline to compare with"
        ET.SubElement(test, "error", type=case.standing, message=_clean(said))
        yield test
        return
    for group in GROUPS:
        rows = [x for x in case.differences if measure_at(x.path).group == group]
        if rows:
            yield _group(case, group, rows)


def _group(case: CaseRegression, group: str, rows: list[Difference]) -> ET.Element:
    test = _test(case, group)
    moved = [x for x in rows if x.move != "same"]
    text = "\n".join(map(str, moved))
    bad = [x for x in moved if x.move == "worse" or x.move == case.standing == "changed"]
    if bad:
        failure = ET.SubElement(test, "failure", type=bad[0].move, message=_clean(str(bad[0])))
        failure.text = _clean(text)
    elif moved:
        ET.SubElement(test, "system-out").text = _clean(text)
    return test


def _test(case: CaseRegression, name: str) -> ET.Element:
    # A place to put the time is the first group: planning takes nearly all of it.
    seconds = case.found.seconds if name in {"plan", "baseline"} else 0.0
    named = _clean(case.path.removesuffix(".toml").replace("/", "."))
    return ET.Element("testcase", classname=named, name=name, time=f"{seconds:.3f}")


def _clean(text: str) -> str:
    return _FORBIDDEN.sub("?", text)
