"""The turnable view of a flight in space, with its still picture for paper and without scripts."""

from __future__ import annotations

from simcheck.records.trace import Trace
from simcheck.report.page.html import Markup, Piece, element
from simcheck.report.page.scene import described, scene_json, still

_BUTTONS = (
    ("left", "Turn left"),
    ("right", "Turn right"),
    ("up", "Tilt up"),
    ("down", "Tilt down"),
    ("nearer", "Nearer"),
    ("farther", "Farther"),
    ("above", "From above"),
    ("edge", "Edge-on"),
    ("reset", "As at first"),
)
_KEY = (
    "Solid line: the way flown. Dashed: the first orbit. Dotted: the ring. Disc: the craft."
    " Triangles: burns. Squares: relays. Circles: slots. Seen in the ring's frame."
)
_HINT = (
    "Drag to turn. On the keyboard: arrows turn, + and - come nearer and go farther, Home goes"
    " back, space plays the flight."
)


def view(trace: Trace, period_s: float, number: int) -> Markup:
    """A figure that scripts bring to life; number tells several on one page apart."""
    canvas = element(
        "canvas",
        tabindex=0,
        role="img",
        aria_label=described(trace),
        aria_describedby=f"hint-{number}",
    )
    script = element("script", Markup(scene_json(trace, period_s)), type="application/json")
    box = element("div", canvas, still(trace), _controls(number), script, class_="view")
    title = element("strong", "The flight in space.")
    return element("figure", box, element("figcaption", title, " ", _KEY))


def _controls(number: int) -> Markup:
    buttons: Piece = [
        element("button", name, type="button", data_do=action) for action, name in _BUTTONS
    ]
    clock = f"clock-{number}"
    return element(
        "div",
        element("p", _HINT, class_="hint", id=f"hint-{number}"),
        element("div", buttons, class_="buttons"),
        element(
            "div",
            element("button", "Play", type="button", data_do="play"),
            element("label", "Time", for_=clock),
            element("input", type="range", id=clock),
            element("output", for_=clock),
            class_="time",
        ),
        class_="controls",
    )
