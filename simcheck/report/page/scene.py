"""A traced flight as what the turnable view draws, and as a still picture from one side.

Lengths are in radii of the ring, to four digits; the view knows directions and names only.
"""

from __future__ import annotations

import json
import math
from typing import Any, NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.records.trace import Trace
from simcheck.report.page.html import Markup, element
from simcheck.report.words import duration, fixed, kilometres

_MOST_POINTS = 3000
_DIGITS = 4
_WIDE, _TALL = 640, 500
_TURN, _TILT = math.radians(-35.0), math.radians(47.0)
_CIRCLE = 121
_APART = 14.0  # of two names, in the units of the picture


class _View(NamedTuple):
    """How a point of the ring frame falls on the paper: two rows (2, 3) and what is one radius."""

    rows: Array
    scale: float

    def points(self, curve: Array) -> str:
        """An SVG list of points."""
        places = curve @ self.rows.T * self.scale
        return " ".join(f"{_WIDE / 2 + x:.1f},{_TALL / 2 - y:.1f}" for x, y in places)

    def place(self, point: Array) -> tuple[float, float]:
        """One point on the paper."""
        x, y = self.rows @ point * self.scale
        return _WIDE / 2 + float(x), _TALL / 2 - float(y)


def scene_of(trace: Trace, period_s: float) -> dict[str, Any]:
    """What the view draws, ready for JSON: curves and places in radii of the ring.

    period_s is the ring's nodal one, by which slots go around in the ring frame.
    """
    keep = _kept(trace)
    unit = trace.ring_radius_m
    burns = [
        {
            "label": burn.label,
            "at": _rounded(burn.position_m / unit),
            "dv": _rounded(burn.dv_m_s / max(_largest_dv(trace), 1e-12)),
            "start": round(burn.start_s / 86400.0, 5),
            "says": f"{fixed(float(np.linalg.norm(burn.dv_m_s)), 1, 'm/s')}"
            f" at {duration(burn.start_s)}",
        }
        for burn in trace.burns
    ]
    return {
        "body": {"name": trace.body, "radius": round(trace.body_radius_m / unit, _DIGITS)},
        "craft": trace.craft,
        "slot": trace.slot,
        "period": round(period_s / 86400.0, 7),
        "pole": _rounded(trace.pole),
        "path": _rounded(trace.position_m[keep] / unit),
        "days": [round(float(time) / 86400.0, 5) for time in trace.time_s[keep]],
        "before": _rounded(trace.before_m / unit),
        "after": _rounded(trace.after_m / unit),
        "slots": _rounded(trace.slots_m / unit),
        "members": [
            {
                "name": one.name,
                "at": _rounded(one.position_m / unit),
                "slot": one.slot,
            }
            for one in trace.members
        ],
        "burns": burns,
        "size": round(_extent(trace) / unit, _DIGITS),
    }


def scene_json(trace: Trace, period_s: float) -> str:
    """The scene as JSON that may stand inside a script element."""
    text = json.dumps(scene_of(trace, period_s), separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def still(trace: Trace) -> Markup:
    """The scene from one side as SVG, for paper and for browsers without scripts."""
    turn, tilt = _TURN, _TILT
    across = [math.cos(turn), math.sin(turn), 0.0]
    up = [-math.sin(turn) * math.sin(tilt), math.cos(turn) * math.sin(tilt), math.cos(tilt)]
    view = _View(np.array([across, up]), 0.47 * _TALL / _extent(trace))
    around = np.linspace(0.0, 2.0 * math.pi, _CIRCLE)
    ring = np.stack([np.cos(around), np.sin(around), 0.0 * around], axis=-1)
    places = _places(trace, view)
    return element(
        "svg",
        _circle("body", view.place(np.zeros(3)), trace.body_radius_m * view.scale),
        _line("ring", view, trace.ring_radius_m * ring),
        _line("before", view, trace.before_m) if len(trace.before_m) else None,
        _line("path", view, trace.position_m[_kept(trace)]),
        [_dot(*one) for one in places],
        viewBox=f"0 0 {_WIDE} {_TALL}",
        role="img",
        aria_label=described(trace),
        class_="still",
    )


def _places(trace: Trace, view: _View) -> list[tuple[str, tuple[float, float], str]]:
    """Kind, place and name of every mark; marks at one place share one name."""
    held = {trace.slot, *(one.slot for one in trace.members)}
    marks = [
        *[("slot", slot, "" if k in held else f"{k}") for k, slot in enumerate(trace.slots_m)],
        *[("member", one.position_m, one.name) for one in trace.members],
        *[("burn", one.position_m, one.label) for one in trace.burns],
        ("craft", trace.position_m[-1], trace.craft),
    ]
    found: list[tuple[str, tuple[float, float], str]] = []
    for kind, point, name in marks:
        place = view.place(point)
        near = next((k for k, one in enumerate(found) if name and _near(one, place)), None)
        if near is not None:
            found[near] = (*found[near][:2], f"{found[near][2]}, {name}")
        found.append((kind, place, name if near is None else ""))
    return found


def _near(one: tuple[str, tuple[float, float], str], place: tuple[float, float]) -> bool:
    """Whether a mark with a name is so near that two names would cover each other."""
    return bool(one[2]) and math.dist(one[1], place) < _APART


def described(trace: Trace) -> str:
    """What a person who does not see the view must know."""
    radii = np.linalg.norm(trace.position_m, axis=-1)
    burns = ", ".join(
        f"{one.label} {fixed(float(np.linalg.norm(one.dv_m_s)), 1, 'm/s')}" for one in trace.burns
    )
    return (
        f"The flight of {trace.craft} about {trace.body} in space: from"
        f" {kilometres(float(radii.min()))} to {kilometres(float(radii.max()))} from the centre, on"
        f" to slot {trace.slot} of a ring of radius {kilometres(trace.ring_radius_m)};"
        f" burns: {burns or 'none'}."
    )


def _kept(trace: Trace) -> Array:
    """Which samples are drawn: all, or evenly as many as a page bears."""
    count = len(trace.time_s)
    return np.unique(np.linspace(0, count - 1, min(count, _MOST_POINTS)).astype(int))


def _extent(trace: Trace) -> float:
    radii = np.linalg.norm(trace.position_m, axis=-1)
    return float(max(radii.max(), trace.ring_radius_m))


def _largest_dv(trace: Trace) -> float:
    return max((float(np.linalg.norm(one.dv_m_s)) for one in trace.burns), default=1.0)


def _rounded(values: Array) -> Any:
    return (np.round(np.asarray(values), _DIGITS) + 0.0).tolist()


def _line(kind: str, view: _View, curve: Array) -> Markup:
    return element("polyline", points=view.points(curve), class_=f"s-{kind}")


def _circle(kind: str, place: tuple[float, float], radius: float) -> Markup:
    return element(
        "circle", cx=f"{place[0]:.1f}", cy=f"{place[1]:.1f}", r=f"{radius:.1f}", class_=f"s-{kind}"
    )


def _dot(kind: str, place: tuple[float, float], name: str) -> Markup:
    label = name and element(
        "text", name, x=f"{place[0] + 9:.1f}", y=f"{place[1] - 7:.1f}", class_=f"s-{kind}-name"
    )
    return element("g", _mark(kind, place), label)


def _mark(kind: str, place: tuple[float, float]) -> Markup:
    """A triangle for a burn, a square for a relay, a disc for the rest, as in the view."""
    x, y = place
    if kind == "burn":
        corners = f"{x:.1f},{y - 7:.1f} {x + 6:.1f},{y + 5:.1f} {x - 6:.1f},{y + 5:.1f}"
        return element("polygon", points=corners, class_="s-burn")
    if kind == "member":
        corner = {"x": f"{x - 4.5:.1f}", "y": f"{y - 4.5:.1f}"}
        return element("rect", width=9, height=9, class_="s-member", **corner)
    return _circle(kind, place, 4.0 if kind == "slot" else 5.5)
