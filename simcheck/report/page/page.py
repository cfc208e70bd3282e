"""The page: which sections a result has, what stands in each, and the document around them."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from importlib.resources import files

from rich.console import Group

from simcheck.measuring import RingMotion
from simcheck.records.result import Kind, Result
from simcheck.report.assign_text import assign_text
from simcheck.report.dispersion_text import dispersion_text
from simcheck.report.figures.picture import Picture, svg
from simcheck.report.flight_text import flight_text
from simcheck.report.hold_text import hold_text
from simcheck.report.page import html
from simcheck.report.page.from_text import Part, parts_of
from simcheck.report.page.gathering import Gathered, Way, gather
from simcheck.report.page.html import Markup, Piece, element, joined
from simcheck.report.page.reviewer import reviewer_section
from simcheck.report.page.verdict import Judged, verdict_section
from simcheck.report.page.view import view
from simcheck.report.plan_text import burn_blocks, header, plan_text
from simcheck.version import VERSION

_KINDS: dict[Kind, str] = {
    "check": "A plan, its flight and the verdict on it",
    "fly": "A flight and the verdict on it",
    "plan": "A plan",
    "disperse": "Many flights of one plan",
    "hold": "A finished ring over time",
    "assign": "Several craft and their slots",
}

SECTIONS = {
    "case": "The case",
    "assignment": "Who goes where",
    "burns": "The burns",
    "losses": "If a burn is lost",
    "orbits": "The orbit",
    "timelines": "The flight over time",
    "trade": "Δv against time",
    "primer": "Is the plan optimal?",
    "log": "What the flight team believed, and what was true",
    "dispersion": "Dispersion",
    "hold": "How long the ring holds",
    "network": "The ring as a network",
    "approaches": "Closest approaches",
    "more": "Further figures and tables",
}
"""The sections between the verdict and the reviewer's, in order; an empty one is left out."""

_ELSEWHERE = {
    "Plan",
    "Plans",
    "Errors against the slot",
    "Limits",
    "Verdict",
    "Constants",
    "Numerical agreement",
    "Numerics",
}
"""Parts of a command's text that the page says in its own way."""

_PLACES = {
    "Totals": "burns",
    "Trade between Δv and time": "trade",
    "If a burn is lost": "losses",
    "Flight": "timelines",
    "Decisions of the flight team": "log",
    "Neighbours at the end of the flight": "approaches",
    "Closest approach to each member": "approaches",
    "Closest approaches until the last has arrived": "approaches",
}
_POINT = 1.9  # pixels at most, so that text is as large in every picture
_LEAST_POINT = 1.05
_NETWORK_BEGINS = "Geometry of the ideal ring"

_PICTURES = (
    ("orbit", "orbits"),
    ("timeline_distances", "approaches"),
    ("timeline", "timelines"),
    ("trade", "trade"),
    ("primer", "primer"),
    ("closed_loop", "log"),
    ("hold", "hold"),
)
"""Where a picture stands, by how its name begins; else where its gallery does."""


def page(result: Result) -> str:
    """The whole document. Raises FlightError where the case's ring cannot be resolved."""
    return written(result, gather(result))


def written(result: Result, gathered: Gathered) -> str:
    """The document of what was gathered."""
    way = gathered.ways[0] if len(gathered.ways) == 1 else None
    flight = way.flight if way else None
    judged = [Judged(one.case, one.flight, one.verdict) for one in gathered.ways]
    shelf = _Shelf()
    if result.assignment is not None:
        _fill_fleet(shelf, result, gathered)
    else:
        _fill(shelf, result, gathered)
    reviewer = reviewer_section(result, gathered.ring, flight, result.plan, gathered.notes)
    return document(
        result.case.title,
        _KINDS[result.kind],
        [
            ("verdict", "Verdict", verdict_section(result, judged)),
            *shelf.sections(),
            ("reviewer", "For the reviewer", reviewer),
        ],
    )


class _Shelf:
    """Pieces by their section: pictures stand before text."""

    def __init__(self) -> None:
        self.pictures: dict[str, list[Piece]] = {name: [] for name in SECTIONS}
        self.text: dict[str, list[Piece]] = {name: [] for name in SECTIONS}

    def put(self, place: str, title: str, *content: Piece) -> None:
        """Add text below a heading of its own, unless the section's says it already."""
        heading = element("h3", title) if title and title != SECTIONS[place] else None
        self.text[place] += [heading, *content]

    def put_all(self, parts: Iterable[Part], usual: str) -> None:
        """Add each part of a command's text where it belongs, the usual place if nowhere else."""
        for part in parts:
            if part.title not in _ELSEWHERE:
                self.put(_PLACES.get(part.title, usual), part.title, part.content)

    def draw(self, pictures: Iterable[Picture], usual: str = "more", prefix: str = "") -> None:
        """Add pictures where their names say; prefix tells those of several craft apart."""
        for one in pictures:
            place = next((p for name, p in _PICTURES if one.name.startswith(name)), usual)
            self.pictures[place].append(figure(one._replace(name=f"{prefix}{one.name}")))

    def sections(self) -> list[tuple[str, str, Markup]]:
        """Each section that holds something: its anchor, title and markup."""
        found = []
        for name, title in SECTIONS.items():
            content = [self.pictures[name], self.text[name]]
            if any(content):
                found.append((name, title, html.section(name, title, *content)))
        return found


def _fill(shelf: _Shelf, result: Result, gathered: Gathered) -> None:
    """Everything that one craft's result has."""
    case, plan, ring = result.case, result.plan, gathered.ring
    if plan is not None:
        _fill_plan(shelf, result, ring)
    for number, way in enumerate(gathered.ways):
        _fill_way(shelf, way, number, own=result.flight is not None)
    if result.flight is not None and result.verdict is not None and plan is not None:
        text = flight_text(case, plan, result.flight, result.verdict, ring, result.setbacks)
        plan_says = {"Δv and propellant of the plan"}
        shelf.put_all((p for p in parts_of(text)[1:] if p.title not in plan_says), "more")
    if result.dispersion is not None and plan is not None:
        shelf.draw(gathered.spread, "dispersion")
        shelf.put_all(
            parts_of(dispersion_text(case, plan, result.dispersion, ring))[1:], "dispersion"
        )
    if result.hold is not None:
        shelf.draw(gathered.held, "network")
        _fill_hold(shelf, parts_of(hold_text(case, plan, result.hold, ring)))


def _fill_plan(shelf: _Shelf, result: Result, ring: RingMotion) -> None:
    """The case in short, each burn with its reason, the totals, the trade, the proof."""
    case, plan = result.case, result.plan
    if plan is None:
        return
    shelf.put("case", "", [part.content for part in parts_of(header(case, plan, ring))])
    shelf.put_all(parts_of(plan_text(case, plan, ring))[1:], "burns")
    if plan.primer is not None:
        word = plan.primer.verdict.capitalize()
        good = plan.primer.verdict == "local optimum" or None
        said = f" (Lawden's conditions): {plan.primer.why}."
        shelf.put("primer", "", html.paragraph(html.verdict_word(good, word), said))


def _fill_way(shelf: _Shelf, way: Way, number: int, *, own: bool) -> None:
    """The pictures of a flight; the first of them can be turned."""
    if not own:
        said = "The plan's commands flown perfectly, which was done for this page."
        shelf.pictures["orbits"].append(html.paragraph(said, class_="note"))
    shelf.pictures["orbits"].append(view(way.trace, way.ring.period_s, number))
    shelf.draw(way.pictures)


def _fill_hold(shelf: _Shelf, parts: list[Part]) -> None:
    """The hold's text; from the ideal ring's geometry on it is about the network."""
    titles = [part.title for part in parts]
    begins = titles.index(_NETWORK_BEGINS) if _NETWORK_BEGINS in titles else len(parts)
    shelf.put("hold", "", parts[0].content)
    shelf.put_all(parts[1:begins], "hold")
    shelf.put_all(parts[begins:], "network")


def _fill_fleet(shelf: _Shelf, result: Result, gathered: Gathered) -> None:
    """Several craft: what `assign` says, and each one's burns and pictures under its name."""
    fleet, found = result.fleet, result.assignment
    if fleet is None or found is None:
        return
    parts = parts_of(assign_text(fleet, found, gathered.ring))
    shelf.put("case", "", parts[0].content)
    shelf.put_all(parts[1:], "assignment")
    for number, way in enumerate(gathered.ways):
        name, prefix = way.case.craft.name, f"craft{number + 1}_"
        shelf.pictures["orbits"].append(element("h3", name))
        shelf.pictures["orbits"].append(view(way.trace, way.ring.period_s, number))
        orbits = [one for one in way.pictures if one.name.startswith("orbit")]
        shelf.draw(orbits, prefix=prefix)
        for part in parts_of(Group(*burn_blocks(way.case, way.plan, way.ring))):
            shelf.put("burns", f"{name}, {part.title}" if part.title else name, part.content)


def figure(picture: Picture) -> Markup:
    """A picture with its title and caption; on a narrow screen it scrolls within itself."""
    points = 72.0 * picture.size[0]
    width = f"max-width: {_POINT * points:.0f}px; min-width: {_LEAST_POINT * points:.0f}px"
    drawn = html.scrolling(element("div", Markup(svg(picture)), style=width), picture.title)
    words = element("figcaption", element("strong", picture.title), ". ", picture.caption)
    return element("figure", drawn, words, id=f"figure-{picture.name.replace('_', '-')}")


def document(title: str, kind: str, sections: list[tuple[str, str, Markup]]) -> str:
    """The page around its sections: nothing in it asks a network for anything."""
    style, script = (_part(name) for name in ("style.css", "view.js"))
    links = [element("li", element("a", name, href=f"#{place}")) for place, name, _ in sections]
    head = joined(
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=_policy(script)),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("meta", name="generator", content=f"simcheck {VERSION}"),
        element("title", f"{title} - {kind}"),
        element("style", Markup(style)),
    )
    body = joined(
        element("a", "Skip to the verdict", href="#verdict", class_="skip"),
        element(
            "header",
            html.paragraph(kind, class_="kind"),
            element("h1", title),
            element("nav", element("ul", links), aria_label="Sections"),
        ),
        element("main", [markup for _, _, markup in sections]),
        element("footer", html.paragraph(f"Made by simcheck {VERSION}.")),
        element("script", Markup(script)),
    )
    made = element("html", element("head", head), element("body", body), lang="en")
    return f"<!DOCTYPE html>\n{made}\n"


def _policy(script: str) -> str:
    """Own style and this one script; no network, no frames, no forms."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:;"
        f" script-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )


def _part(name: str) -> str:
    return files("simcheck.report.page").joinpath(name).read_text(encoding="utf-8")
