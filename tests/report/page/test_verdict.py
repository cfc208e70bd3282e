"""The first section: the answer, and bars that say what their numbers say."""

from __future__ import annotations

import math

import pytest

from simcheck.judging import judge
from simcheck.records.case import Case
from simcheck.records.flight import Flight, FlownErrors
from simcheck.report.page.verdict import Judged, bar, verdict_section
from tests.cli import samples
from tests.report.page.results import Tags, dispersion, result
from tests.report.test_hold_text import held, relay


def section(flight: Flight, case: Case | None = None) -> Tags:
    case = case or samples.case()
    verdict = judge(case, flight)
    of = result(case=case, flight=flight, verdict=verdict)
    return Tags(verdict_section(of, [Judged(case, flight, verdict)]))


@pytest.mark.parametrize(
    ("part", "length", "kind"),
    [
        (0.0, 0.0, "part"),
        (0.25, 35.0, "part"),
        (1.0, 140.0, "part"),
        (1.1, 154.0, "over"),
        (7.0, 176.0, "over"),
        (math.inf, 176.0, "over"),
    ],
)
def test_a_bar_is_as_long_as_its_share(part: float, length: float, kind: str) -> None:
    """The line stands at all of it; more than allowed goes past the line, cut at the frame."""
    made = Tags(bar(part) or "")
    track, own = made.all("rect")
    assert track["width"] == made.all("line")[0]["x1"] == "140"
    assert float(own["width"] or 0) == pytest.approx(length)
    assert own["class"] == kind


def test_no_bar_without_a_number() -> None:
    """NaN is not drawn as nothing used."""
    assert bar(math.nan) is None


def test_within() -> None:
    """The sample's errors are 2, 4, 5 and 4 % of their tolerances; each row has its judgement."""
    made = section(samples.flight())
    heads, rows = made.text["h3"], made.text["tr"]
    assert heads == ["Errors against the slot", "Limits"]
    assert made.text["p"][0].startswith("✓ Within. R4 reaches slot 3: 4 tolerances")
    for name, value in (("phase", "-0.01 deg"), ("period", "+0.2 s"), ("plane", "0.004 deg")):
        row = next(row for row in rows if row.startswith(name))
        assert value in row
        assert "✓ within" in row
    shares = [float(one["width"] or 0) / 140 for one in made.all("rect") if one["class"] == "part"]
    assert shares[:4] == pytest.approx([0.02, 0.04, 0.05, 0.04], abs=1e-3)
    assert sum("not a flight clearance" in text for text in made.text["p"]) == 1


def test_limits_of_both_kinds() -> None:
    """Arrival 250,000 s of 15 days; altitude 450 km where 200 km are the least: 4 ninths."""
    made = section(samples.flight())
    rows = [row for row in made.text["tr"] if "at most" in row or "at least" in row]
    bars = [float(one["width"] or 0) / 140 for one in made.all("rect") if one["class"] == "part"]
    shares = dict(zip((row[:8] for row in rows), bars[4:], strict=True))
    assert shares["arrival "] == pytest.approx(250_000 / (15 * 86400), abs=1e-3)
    assert shares["lowest a"] == pytest.approx(200 / 450, abs=1e-3)
    assert shares["closest "] == pytest.approx(20 / 900, abs=1e-3)


def test_outside_is_said_in_words() -> None:
    """An error past its tolerance: the finding, a cross and a word, and the bar past its line."""
    errors = FlownErrors(phase_deg=0.6, period_s=0.2, eccentricity=1e-4, plane_deg=math.nan)
    made = section(samples.flight(errors=errors))
    assert made.text["p"][0].startswith("✗ Outside. R4 does not reach slot 3 as asked: the phase")
    row = next(row for row in made.text["tr"] if row.startswith("phase"))
    assert "✗ outside" in row
    assert "120 %" in row
    plane = next(row for row in made.text["tr"] if row.startswith("plane"))
    assert "not known" in plane
    assert "✗ outside" in plane


def test_many_flights() -> None:
    """The probability with its interval; the bars are said to be of another flight."""
    found, _ = dispersion()
    of = result(kind="disperse", flight=None, verdict=None, dispersion=found)
    flight = samples.flight()
    made = Tags(verdict_section(of, [Judged(of.case, flight, judge(of.case, flight))]))
    text = " ".join(made.text["p"])
    assert f"{found.within.count} of 300 flights ended within" in text
    assert found.within.interval in text
    assert "flown perfectly, which was done for this page" in text


def test_a_hold_has_a_row_a_relay() -> None:
    """How long each holds by itself, and the share of a tolerance that its upkeep lets it use."""
    kept = relay("R1", 0)
    alone = relay("R2", 1, upkeep=None)
    of = result(kind="hold", flight=None, verdict=None, hold=held(kept, alone))
    made = Tags(verdict_section(of, []))
    first, second = made.text["tr"][1:]
    assert "91 %" in first
    assert "12.340" in first
    assert "never" in first
    assert "not computed" in second
    assert made.text["p"][0].startswith("✓ Holds. No error leaves its tolerance in 365.2 days")
