"""The last part of a page: what a reviewer asks before the numbers are believed."""

from __future__ import annotations

from importlib.util import find_spec

from rich.console import Group

from simcheck.engines.base import G0
from simcheck.engines.gravity import gravity_of
from simcheck.engines.reference import ReferencePropagator
from simcheck.measuring import REVOLUTIONS, SAMPLES, RingMotion
from simcheck.records.case import Case
from simcheck.records.dispersion import Dispersion
from simcheck.records.flight import Flight
from simcheck.records.plan import Plan
from simcheck.records.result import Result
from simcheck.report.deep_text import deep_text
from simcheck.report.flight_text import constants
from simcheck.report.network_text import network_warning
from simcheck.report.page import html
from simcheck.report.page.from_text import parts_of
from simcheck.report.page.html import Column, Markup, Piece, element
from simcheck.report.page.model_limits import Standing, model_limits
from simcheck.report.page.versions import versions
from simcheck.report.words import fixed, significant

_OWN_AXES = "z: the body's pole, x: the reference from which the case counts the node"
_STANDINGS: dict[Standing, tuple[bool | None, str, str]] = {
    "inside": (True, "inside", "✓"),
    "small": (True, "small", "✓"),
    "look": (None, "look at it", "!"),
    "outside": (False, "outside", "✗"),
    "not known": (None, "not known", "?"),
}
_ABOUT_LIMITS = (
    "Sizes are rough: from the lowest point of the flight, and as if a pull always turned the orbit"
    " the same way. Small is below a tenth of the smallest angular tolerance; what is to be looked"
    " at may still be harmless, since what moves all relays of the ring alike is no error against"
    " the ring. Switch the force on where it can be flown, and compare."
)


def reviewer_section(
    result: Result, ring: RingMotion, flight: Flight | None, plan: Plan | None, notes: list[str]
) -> Markup:
    """Versions, inputs, constants, frames, model, numerics, uncertainty, warnings, limits."""
    case = result.case
    return html.section(
        "reviewer",
        "For the reviewer",
        _made_by(result),
        parts_as_html(Group(*constants(case, ring))),
        html.paragraph(_in_full(case), class_="note"),
        _frames(case),
        _forces(case),
        _numerics(result, flight),
        parts_as_html(Group(*deep_text(result.deep))) if result.deep else None,
        _uncertainty(result),
        _warnings(result, ring, flight, plan, notes),
        _limits(result, ring, flight, plan),
    )


def parts_as_html(text: Group) -> Piece:
    """The sections of a text, each below its heading."""
    return [[element("h3", part.title), part.content] for part in parts_of(text)]


def _made_by(result: Result) -> Piece:
    case = result.case
    used = versions()
    now = used.pop("simcheck")
    digest = case.inputs_sha256 or "not from a file"
    pairs: list[tuple[str, Piece]] = [
        ("command", f"simcheck {result.kind}"),
        ("result of", f"simcheck {result.version}"),
        ("page of", f"simcheck {now}"),
        ("case file", case.path),
        ("SHA-256 of the case file", element("span", digest, class_="hash")),
        ("epoch", f"{case.epoch} TDB" if case.epoch else "none: seconds count from the start"),
    ]
    if result.plan is not None:
        pairs.append(("planner", result.plan.planner))
    said = (
        "The versions are those on the machine that made this page; the result itself names only"
        " that of simcheck."
    )
    return [
        element("h3", "Made from"),
        html.facts(pairs, "Made from"),
        element("h3", "Versions"),
        html.facts(used.items(), "Versions"),
        html.paragraph(said, class_="note"),
    ]


def _in_full(case: Case) -> str:
    """The body's constants with every digit that was computed with."""
    body = case.body
    zonals = [f"{n.upper()} {getattr(body, n)!r}" for n in ("j2", "j3", "j4") if n in case.forces]
    both = [f"GM {body.gm_m3_s2!r} m3/s2", f"radius {body.radius_m!r} m", *zonals]
    return f"In full: {', '.join(both)}; standard gravity {G0!r} m/s2."


def _frames(case: Case) -> Piece:
    rows: list[list[Piece]] = [
        [
            "inertial",
            f"centred on {case.body.name}; {case.body.axes or _OWN_AXES}; does not turn",
            "states, impulses, burns fixed in space",
        ],
        [
            "RSW",
            "R from the centre outward, S in the orbit's plane along the motion, W along the"
            " orbit's normal; turns with the craft (or the member)",
            "parts of an impulse, turning burns, approaches",
        ],
        [
            "ring",
            "z along the ring's normal at that time, x along its ascending node (the inertial x"
            " axis where the ring is equatorial); turns slowly with the node",
            "the four errors, the pictures of the orbit",
        ],
    ]
    return [
        element("h3", "Frames"),
        html.table(
            (Column("frame"), Column("axes"), Column("used for")), rows, name="Frames", cards=True
        ),
        html.paragraph("Times are seconds past the epoch in TDB throughout.", class_="note"),
    ]


def _forces(case: Case) -> Piece:
    on = ", ".join(("point mass", *case.forces))
    left_out = [
        name
        for name in ("j2", "j3", "j4", "third-bodies", "sunlight-pressure")
        if name not in case.forces
    ]
    never = "terms that turn with the body, zonals beyond J4, tides, atmosphere, relativity"
    pairs: list[tuple[str, Piece]] = [
        ("flown", f"{on}, and the thrust of burns with the mass that it uses"),
        ("left out by the case", ", ".join(left_out) or "none of those that can be flown"),
        ("never flown", never),
    ]
    return [element("h3", "Force model"), html.facts(pairs, "Force model")]


def _numerics(result: Result, flight: Flight | None) -> Piece:
    reference = ReferencePropagator(gravity_of(result.case)).tolerance
    pairs: list[tuple[str, Piece]] = []
    if find_spec("heyoka") is not None:
        from simcheck.engines.taylor import TOLERANCE

        said = f"adaptive Taylor series, relative tolerance {TOLERANCE:.0e} a step, states in units"
        pairs.append(("fast engine", f"{said} of the body's radius"))
    said = f"DOP853, relative and absolute tolerance {reference:.0e}, restarted at every sample"
    pairs.append(("reference engine", said))
    if flight is not None:
        pairs.append(("flown by", flight.propagator))
        pairs.append(("the two engines' difference", _difference(flight)))
    pairs.append(
        (
            "averages",
            f"{REVOLUTIONS} whole revolutions of {SAMPLES} samples, at the flight's end",
        )
    )
    if result.hold is not None:
        gap = significant(result.hold.numerical_deg, "deg")
        said = f"differs by at most {gap} in a phase from a series with a tighter tolerance"
        pairs.append(("hold", said))
    return [element("h3", "Numerics"), html.facts(pairs, "Numerics")]


def _difference(flight: Flight) -> str:
    metres = flight.engine_disagreement_m
    if metres is None:
        return "not computed: flown with one engine only"
    return f"{significant(metres, 'm')} in position at the end of the flight"


def _uncertainty(result: Result) -> Piece:
    return [
        element("h3", "Seeds and uncertainty"),
        html.facts(_how_uncertain(result), "Seeds and uncertainty"),
    ]


def _how_uncertain(result: Result) -> list[tuple[str, Piece]]:
    if result.dispersion is not None:
        return _of_flights(result.dispersion)
    flight = result.flight
    if flight is not None and flight.sample is not None:
        once = "one draw of the case's errors: it says nothing of how likely it is"
        return [("seed", f"{flight.seed}, sample {flight.sample}"), ("this flight", once)]
    none = "none drawn: burns and knowledge are perfect; simcheck disperse flies the errors"
    bars = "the numerical error bars above" if result.deep else "the two engines' difference only"
    return [("errors of the case", none), ("numerical uncertainty", bars)]


def _of_flights(found: Dispersion) -> list[tuple[str, Piece]]:
    sure = fixed(100.0 * found.within.confidence, 1, "%")
    return [
        ("seed", f"{found.seed}; sample k draws from a stream of its own, keyed by seed and k"),
        ("flights", f"{found.samples}; {found.stopped_by}"),
        ("probability", f"binomial interval at {sure} confidence: {found.within.interval}"),
        ("percentiles", f"order statistics at {sure} confidence, whatever the distribution"),
        ("drivers", found.method),
        ("not in any interval", "errors of the model itself: see its limits below"),
    ]


def _warnings(
    result: Result, ring: RingMotion, flight: Flight | None, plan: Plan | None, notes: list[str]
) -> Piece:
    found = [*notes]
    if plan is not None:
        found += plan.warnings
    network = network_warning(result.case, ring)
    if network:
        found.append(network)
    if flight is not None:
        found += flight.events
    if result.verdict is not None:
        found += result.verdict.findings
    if result.hold is not None:
        found += result.hold.notes
    unique = list(dict.fromkeys(found))
    body = element("ul", [element("li", one) for one in unique]) if unique else "None."
    return [element("h3", "Warnings and findings"), body if unique else html.paragraph(body)]


def _limits(result: Result, ring: RingMotion, flight: Flight | None, plan: Plan | None) -> Piece:
    columns = (Column("limit"), Column("model"), Column("this case"), Column("inside"))
    rows: list[list[Piece]] = []
    for one in model_limits(result, ring, flight, plan):
        word = html.verdict_word(*_STANDINGS[one.inside])
        rows.append([one.name, one.model, one.number, word])
    return [
        element("h3", "Limits of the model, and this case"),
        html.table(columns, rows, name="Limits of the model", cards=True),
        html.paragraph(_ABOUT_LIMITS, class_="note"),
    ]
