"""The whole page: what stands where, and that it is harmless and whole."""

from __future__ import annotations

import base64
import hashlib
import re
from importlib.resources import files
from itertools import pairwise
from typing import Any

import pytest

from simcheck.records.result import Result
from simcheck.report.judged_text import CAUTION
from simcheck.report.page.page import SECTIONS, written
from simcheck.version import VERSION
from tests.cli import samples
from tests.report.page.results import (
    HOSTILE,
    NAMES,
    Tags,
    dispersion,
    gathered,
    hostile,
    picture,
    result,
)
from tests.report.test_hold_text import held

_LARGEST = 5_000_000  # bytes


def made(of: Result, **fields: Any) -> tuple[str, Tags]:
    page = written(of, gathered(of, **fields))
    return page, Tags(page)


def several() -> list[Result]:
    """A result of each kind that one craft has."""
    found, _ = dispersion()
    bare: dict[str, Any] = {"flight": None, "verdict": None, "setbacks": ()}
    return [
        result(),
        result(kind="plan", **bare),
        result(kind="disperse", dispersion=found, **bare),
        result(kind="hold", hold=held(), **bare),
        result(kind="hold", hold=held(), plan=None, **bare),
        hostile(),
    ]


@pytest.mark.parametrize("number", range(6))
def test_every_page_is_sound(number: int) -> None:
    """One h1, no level of heading skipped, unique ids, links that lead somewhere, one caution."""
    page, tags = made(several()[number])
    assert page.startswith("<!DOCTYPE html>\n<html lang=")
    assert tags.all("html") == [{"lang": "en"}]
    levels = [int(tag[1]) for tag, _ in tags.found if re.fullmatch(r"h\d", tag)]
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    ids = [attributes["id"] for _, attributes in tags.found if "id" in attributes]
    assert len(ids) == len(set(ids))
    for link in tags.all("a"):
        assert (link["href"] or "")[1:] in ids
    assert sum(text.count(CAUTION) for text in tags.text["body"]) == 1
    assert len(page.encode()) < _LARGEST


@pytest.mark.parametrize("number", range(6))
def test_nothing_is_asked_of_a_network(number: int) -> None:
    """No address in any attribute or style; the policy forbids all but the page's own script."""
    page, tags = made(several()[number])
    for tag, attributes in tags.found:
        for name in ("src", "srcset", "data", "action", "poster", "formaction"):
            assert name not in attributes, (tag, attributes)
        for name in ("href", "xlink:href"):
            assert (attributes.get(name) or "#").startswith("#"), (tag, attributes)
        assert not any(name.startswith("on") for name in attributes), (tag, attributes)
        assert "http" not in (attributes.get("style") or "")
    assert tags.all("link") == []
    assert "@import" not in page
    assert re.search(r"url\((?!#)", page) is None
    policy = next(
        meta["content"] or ""
        for meta in tags.all("meta")
        if meta.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none';")
    scripts = [
        text
        for text, attributes in zip(tags.text["script"], tags.all("script"), strict=True)
        if attributes.get("type") != "application/json"
    ]
    (digest,) = re.findall(r"'sha256-([^']+)'", policy)
    assert [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts] == [
        digest
    ]


def test_hostile_text_is_text() -> None:
    """A title, a name, a reason and a path with tags in them add no element to the page."""
    page, tags = made(hostile())
    _, usual = made(result())
    for tag in ("script", "img", "title", "iframe"):
        assert len(tags.all(tag)) == len(usual.all(tag))
    assert "<script>alert" not in page
    assert "<img" not in page
    shown = HOSTILE.replace("\x07", "\ufffd")
    assert tags.text["h1"] == [shown]
    assert tags.text["title"][0].startswith(shown)


def test_sections_in_order() -> None:
    """The verdict first, the reviewer last, each picture where it belongs, each in the links."""
    _, tags = made(result())
    places = [attributes["id"] for attributes in tags.all("section")]
    between = [name for name in SECTIONS if name in places]
    assert places == ["verdict", *between, "reviewer"]
    assert [(link["href"] or "")[1:] for link in tags.all("a")[1:]] == places
    expected = ("orbits", "timelines", "trade", "primer", "log", "more")
    for name, place in zip(NAMES, expected, strict=True):
        section = tags.text["section"][places.index(place)]
        assert f"A picture of {name}" in section


def test_the_burns_have_their_reasons() -> None:
    """Each burn below a heading of its own, with its reason, before the orbit is shown."""
    page, tags = made(result())
    assert {"B1: raise the periapsis", "B2: raise the periapsis"} <= set(tags.text["h3"])
    assert page.index("so 500.0 m/s turn the plane too") < page.index('id="orbits"')


def test_what_a_reviewer_asks() -> None:
    """Versions, digest, sources, frames, tolerances, the engines' difference, warnings, limits."""
    plan = samples.plan(warnings=("the message names another body",))
    _, tags = made(result(plan=plan))
    said = tags.text["section"][-1]
    for part in (
        VERSION,
        "numpy",
        "heyoka",
        "ab" * 32,
        "invented for a test",
        "inertial",
        "RSW",
        "1e-16",
        "3e-14",
        "0.02 m in position",
        "the message names another body",
        "ignition of B1 was 0.2 s late",
        "general relativity",
        "GM 42828370000000.0 m3/s2",
    ):
        assert part in said, part


def test_many_flights_and_their_seed() -> None:
    """The dispersion's pictures and tables stand in its section; the seed with the reviewer's."""
    found, _ = dispersion()
    of = result(kind="disperse", flight=None, verdict=None, setbacks=(), dispersion=found)
    _, tags = made(of, spread=[picture("success")])
    places = [attributes["id"] for attributes in tags.all("section")]
    section = tags.text["section"][places.index("dispersion")]
    for part in ("A picture of success", "Percentiles", "Propellant to load", "What drives it"):
        assert part in section
    assert found.within.interval in tags.text["section"][-1]
    assert "keyed by seed and k" in tags.text["section"][-1]


def test_what_could_not_be_drawn_is_told() -> None:
    """A flight that cannot be traced leaves a note, not a hole."""
    of = result()
    _, tags = made(of, ways=[], notes=["R4's flight could not be drawn: invented"])
    assert "R4's flight could not be drawn: invented" in tags.text["section"][-1]
    assert tags.all("canvas") == []


def test_the_same_result_makes_the_same_page() -> None:
    """No clock and no chance in it."""
    assert made(result())[0] == made(result())[0]


def luminance(colour: str) -> float:
    """Relative luminance of a colour, WCAG 2.2."""
    full = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    parts = [int(full[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.reference("WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text")
def test_contrast() -> None:
    """All text colours, light, dark and on paper; the pictures write with theirs too."""
    css = files("simcheck.report.page").joinpath("style.css").read_text(encoding="utf-8")
    schemes = [
        dict(re.findall(r"--(\w+): (#\w+)", block))
        for block in re.findall(r":root \{(.*?)\}", css, re.DOTALL)
    ]
    assert len(schemes) == 3
    for scheme in schemes:
        paper = luminance(scheme["paper"])
        for name in (
            "ink",
            "muted",
            "link",
            "good",
            "bad",
            "open",
            *(f"c{k}" for k in range(1, 8)),
        ):
            low, high = sorted((luminance(scheme[name]), paper))
            assert (high + 0.05) / (low + 0.05) >= 4.5, (name, scheme[name])
