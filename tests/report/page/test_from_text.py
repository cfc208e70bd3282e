"""The text of a command as HTML: nothing of it is lost."""

from __future__ import annotations

import pytest
from rich.console import Group, RenderableType
from rich.rule import Rule

from simcheck.report import tables
from simcheck.report.dispersion_text import dispersion_text
from simcheck.report.flight_text import flight_text
from simcheck.report.hold_text import hold_text
from simcheck.report.page.from_text import parts_of
from simcheck.report.plan_text import plan_text
from tests.cli import samples
from tests.report.page.results import HOSTILE, Tags, dispersion, result
from tests.report.test_hold_text import held
from tests.report.test_text import text_of


def texts() -> list[RenderableType]:
    """What the commands say of hand-made records."""
    of = result()
    case, ring = of.case, samples.ring(of.case)
    assert of.plan is not None
    assert of.flight is not None
    assert of.verdict is not None
    return [
        plan_text(case, of.plan, ring),
        flight_text(case, of.plan, of.flight, of.verdict, ring, of.setbacks),
        dispersion_text(case, of.plan, dispersion()[0], ring),
        hold_text(case, of.plan, held(), ring),
    ]


@pytest.mark.parametrize("number", range(4))
def test_every_word_is_there(number: int) -> None:
    """The page has each word that the screen has."""
    text = texts()[number]
    page = ""
    for part in parts_of(text):
        page += " ".join([part.title, *(word for one in part.content for word in Tags(one).said)])
    missing = {word for word in text_of(text).split() if word not in page}
    assert not missing


def test_shapes() -> None:
    """Headings begin parts; tables, facts and notes become what they are."""
    made = Group(
        tables.note("before"),
        tables.heading("One"),
        tables.table(("burn", ">m/s"), [("B1", tables.word(False, "yes", "NO"))]),
        tables.facts([("why", HOSTILE)]),
    )
    first, second = parts_of(made)
    assert (first.title, second.title) == ("", "One")
    assert Tags(first.content[0]).text["p"] == ["before"]
    table, facts = (Tags(one) for one in second.content)
    assert table.all("th")[1]["class"] == "number"
    assert table.text["td"] == ["✗ NO"]
    assert [tag for tag, _ in facts.found] == ["table", "tbody", "tr", "th", "td"]
    assert "<script>alert(1)</script>" in facts.text["td"][0]


def test_another_shape_is_refused() -> None:
    """What cannot be shown is not left out in silence."""
    with pytest.raises(TypeError, match="headings, tables, facts and notes"):
        parts_of(Group(Rule()))
