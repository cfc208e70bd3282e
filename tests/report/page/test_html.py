"""Pieces of HTML: text stays text, and tables are tables."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from simcheck.report.page import html
from simcheck.report.page.html import Column, Markup, element
from tests.report.page.results import Tags


@given(st.text(max_size=60))
def test_text_comes_back_as_it_was(text: str) -> None:
    """Whatever the text, a parser finds it again and no tag in it; in attributes as well."""
    found = Tags(element("p", text, title=text))
    shown = html.shown(text)
    assert [tag for tag, _ in found.found] == ["p"]
    assert found.text["p"] == [shown]
    assert found.all("p")[0]["title"] == shown


def test_control_characters_are_replaced() -> None:
    """No page may hold them; a line break and a tab may stay."""
    assert html.shown("a\x00b\x1b[31m\nc\td\u202e") == "a\ufffdb\ufffd[31m\nc\td\ufffd"


def test_markup_is_taken_as_it_is() -> None:
    """Pieces may be nested; nothing is nothing."""
    assert element("p", Markup("<b>x</b>"), None, ["<", [Markup("&lt;")]]) == (
        "<p><b>x</b>&lt;&lt;</p>"
    )


def test_attributes() -> None:
    """Reserved words lose their dash, others get one; True stands alone, False and None not."""
    made = element("a", "x", class_="k", aria_label="l", hidden=True, id=None, open=False)
    assert made == '<a class="k" aria-label="l" hidden>x</a>'
    assert element("meta", name="v", content=1) == '<meta name="v" content="1">'


def test_a_table_has_heads_for_rows_and_columns() -> None:
    """th with scope on both sides; a column or row without a name has no empty head."""
    columns = (Column("burn"), Column("Δv, m/s", True), Column(""))
    made = Tags(html.table(columns, [["B1", "1.0", "x"], ["", "2.0", "y"]], name="burns"))
    assert [head["scope"] for head in made.all("th")] == ["col", "col", "row"]
    assert made.text["th"] == ["burn", "Δv, m/s", "B1"]
    assert made.text["td"] == ["", "1.0", "x", "", "2.0", "y"]
    assert [cell.get("class") for cell in made.all("td")[1:4]] == ["number", None, None]
    assert made.all("div")[0]["tabindex"] == "0"
    assert made.all("div")[0]["aria-label"] == "burns"


def test_facts_leave_out_what_is_empty() -> None:
    """Names head their rows; a fact without a text is not there."""
    made = Tags(html.facts([("a", "1"), ("b", ""), ("", "2")], "some"))
    assert made.text["th"] == ["a"]
    assert made.text["td"] == ["1", "", "2"]


def test_a_judgement_is_more_than_a_colour() -> None:
    """A mark and a word stand beside it, the mark not read aloud."""
    for good, mark in ((True, "✓"), (False, "✗"), (None, "?")):
        made = Tags(html.verdict_word(good, "so"))
        assert made.text["span"][0] == f"{mark} so"
        assert made.all("span")[1]["aria-hidden"] == "true"
