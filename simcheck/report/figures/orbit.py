"""Orbits to scale: the body, the ring, who is on it, the burns, the way; from above and edge-on."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyArrowPatch

from simcheck.arrays import Array
from simcheck.kernels.vectors import TAU, norm
from simcheck.records.trace import Trace, TracedBurn
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import (
    BLUE,
    GREEN,
    INK,
    MUTED,
    ORANGE,
    VERMILION,
    Name,
    along,
    metres_or_km,
    number,
    place,
)
from simcheck.report.words import clean

_FLAT = 0.01  # of the largest distance: nothing to see edge-on below it
_ARROW = 0.24  # of the half width, for the largest burn
_LEVEL = 1e-8  # sine of the inclination of a ring that has no node
_THERE = 0.03  # of the ring's radius: nearer to it the craft is on its slot
_AROUND = np.linspace(0.0, TAU, 361)


class _View(NamedTuple):
    """Two unit vectors (3,) of the ring frame, across and up, and metres of the unit drawn."""

    across: Array
    up: Array
    unit: float

    def of(self, points: Array) -> Array:
        """Points (..., 3) as drawn (..., 2)."""
        return np.stack([points @ self.across, points @ self.up], axis=-1) / self.unit


def in_plane(trace: Trace, axis: Axes) -> None:
    """The flight from the side that the ring's normal points to, where motion is anticlockwise."""
    view = _View(np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), _unit(trace)[0])
    _scene(trace, axis, view)
    unit, origin = _unit(trace)[1], _origin(trace)
    axis.set_xlabel(f"towards {origin}, {unit}")
    axis.set_ylabel(f"90° ahead of it, {unit}")


def edge_on(trace: Trace, axis: Axes) -> None:
    """The flight along the line in which the first orbit's plane cuts the ring's."""
    angle = sight(trace)
    across = np.array([-np.sin(angle), np.cos(angle), 0.0])
    view = _View(across, np.array([0.0, 0.0, 1.0]), _unit(trace)[0])
    _pole(trace, axis, view)
    _scene(trace, axis, view)
    unit = _unit(trace)[1]
    ahead = np.degrees(np.arctan2(across[1], across[0])) % 360.0
    axis.set_xlabel(f"in the ring's plane, {ahead:.0f}° ahead of {_origin(trace)}, {unit}")
    axis.set_ylabel(f"along the ring's normal, {unit}")


def _origin(trace: Trace) -> str:
    """Where angles in the ring's plane count from."""
    level = float(np.hypot(trace.pole[0], trace.pole[1])) < _LEVEL
    return "the inertial x axis" if level else "the ring's node"


def sight(trace: Trace) -> float:
    """Angle in rad from the ring's node to the line that its plane shares with the first orbit's.

    0 where the two are one, or the first orbit is open.
    """
    if len(trace.before_m) < 2:
        return 0.0
    normal = np.cross(trace.before_m[0], trace.before_m[len(trace.before_m) // 4])
    if np.hypot(normal[0], normal[1]) < 1e-6 * float(norm(normal)):
        return 0.0
    return float(np.arctan2(normal[0], -normal[1]))


def is_flat(trace: Trace) -> bool:
    """Whether all of the flight lies in the ring's plane as far as anyone can see."""
    most = float(np.max(norm(trace.position_m)))
    return float(np.max(np.abs(trace.position_m[:, 2]))) < _FLAT * most


def pictures(trace: Trace) -> list[Picture]:
    """The flight in the ring's plane and, where it leaves the plane, edge-on."""
    what = (
        "To scale, in the ring's frame. Dashed: the orbit at the start; line: the way flown;"
        " broad: the orbit at the end;"
        " arrows: the Δv of each burn, in proportion; dots: members; open circles: slots, at the"
        " end. Of a coast of many revolutions the first and the last are drawn."
    )
    alt = _words(trace)
    made = [
        Picture(
            "orbit_in_plane",
            "The way to the slot, in the ring's plane",
            what + " Motion is anticlockwise.",
            alt,
            lambda axis: in_plane(trace, axis),
            (6.0, 5.6),
        )
    ]
    if not is_flat(trace):
        made.append(
            Picture(
                "orbit_edge_on",
                "The way to the slot, edge-on",
                what + " Seen along the line in which the first orbit cuts the ring's plane.",
                alt,
                lambda axis: edge_on(trace, axis),
                (6.8, _height(trace)),
            )
        )
    return made


def _height(trace: Trace) -> float:
    """Inches of the edge-on view: what is drawn is 5.6 wide."""
    most = _extent(trace)
    tall = max(float(np.ptp(trace.position_m[:, 2])), 2 * trace.body_radius_m) + 0.4 * most
    return float(np.clip(5.6 * tall / (2.2 * most) + 0.9, 2.4, 5.8))


def _words(trace: Trace) -> str:
    radii = norm(trace.position_m) / 1e3
    burns = "; ".join(
        f"{burn.label} {float(norm(burn.dv_m_s)):.1f} m/s at"
        f" {float(norm(burn.position_m)) / 1e3:.0f} km from the centre, {_direction(burn)}"
        for burn in trace.burns
    )
    members = ", ".join(member.name for member in trace.members)
    return clean(
        f"{trace.craft} about {trace.body} (radius {trace.body_radius_m / 1e3:.0f} km), from"
        f" {radii[0]:.0f} km to the ring of {trace.ring_radius_m / 1e3:.0f} km, slot {trace.slot}"
        f" of {len(trace.slots_m)}; between {radii.min():.0f} and {radii.max():.0f} km on the way."
        + (f" Burns: {burns}." if burns else " No burn.")
        + (f" Members: {members}." if members else " No members.")
    )


def _direction(burn: TracedBurn) -> str:
    size = float(norm(burn.dv_m_s))
    out = np.degrees(np.arcsin(np.clip(burn.dv_m_s[2] / size, -1, 1))) if size else 0.0
    return f"{abs(out):.0f} deg {'above' if out >= 0 else 'below'} the ring's plane"


def _unit(trace: Trace) -> tuple[float, str]:
    return metres_or_km(_extent(trace))


def _extent(trace: Trace) -> float:
    parts = (
        trace.position_m,
        trace.before_m,
        trace.slots_m,
        *(m.position_m for m in trace.members),
    )
    return max(float(np.max(norm(part), initial=0.0)) for part in parts)


def _scene(trace: Trace, axis: Axes, view: _View) -> None:
    """Everything but the names of the axes."""
    body = trace.body_radius_m / view.unit
    axis.add_patch(Circle((0, 0), body, fc=MUTED, alpha=0.25, lw=0, gid="body"))
    circle = np.stack([np.cos(_AROUND), np.sin(_AROUND), 0 * _AROUND], axis=-1)
    ring = view.of(trace.ring_radius_m * circle)
    before, after = view.of(trace.before_m), view.of(trace.after_m)
    way = view.of(_shown(trace))
    axis.plot(*ring.T, color=MUTED, lw=0.8, gid="ring", zorder=2)
    axis.plot(*before.T, color=ORANGE, lw=1.3, ls=(0, (5, 2)), gid="before", zorder=3)
    axis.plot(*way.T, color=BLUE, lw=1.3, gid="way", zorder=4)
    axis.plot(*after.T, color=GREEN, lw=3.6, alpha=0.35, gid="after", zorder=2.5)
    arrows = [_arrow(trace, burn, view) for burn in trace.burns]
    _frame(axis, view, trace, [ring, before, way, *arrows])
    _relays(trace, axis, view)
    for burn, (tail, head) in zip(trace.burns, arrows, strict=True):
        axis.plot(*tail, "o", color=VERMILION, ms=3.2, zorder=7)
        axis.add_patch(
            FancyArrowPatch(
                tuple(tail),
                tuple(head),
                arrowstyle="-|>",
                mutation_scale=9,
                color=VERMILION,
                lw=1.6,
                shrinkA=0,
                shrinkB=0,
                zorder=7,
                gid=f"burn {burn.label}",
            )
        )
    _names(trace, axis, view, [ring, before, way, after, *arrows], arrows)


def _shown(trace: Trace) -> Array:
    """The way (n, 3), of a coast of many revolutions its first and last; parts end in NaN."""
    parts = []
    for one in np.unique(trace.arc):
        part = trace.position_m[trace.arc == one]
        angle = np.unwrap(np.arctan2(part[:, 1], part[:, 0]))
        swept = np.abs(angle - angle[0])
        if swept[-1] > 3 * TAU:
            gap = np.full((1, 3), np.nan)
            part = np.concatenate([part[swept <= TAU], gap, part[swept[-1] - swept <= TAU]])
        parts.append(part)
    return np.concatenate(parts)


def _arrow(trace: Trace, burn: TracedBurn, view: _View) -> Array:
    """Tail and head (2, 2); lengths in proportion to the Δv."""
    largest = max(float(norm(one.dv_m_s)) for one in trace.burns)
    scale = _ARROW * _extent(trace) / largest if largest else 0.0
    return view.of(np.stack([burn.position_m, burn.position_m + scale * burn.dv_m_s]))


def _frame(axis: Axes, view: _View, trace: Trace, parts: list[Array]) -> None:
    points = np.concatenate([part[np.isfinite(part).all(axis=-1)] for part in parts])
    body = trace.body_radius_m / view.unit
    low = np.minimum(points.min(axis=0), -body)
    high = np.maximum(points.max(axis=0), body)
    margin = 0.12 * float(np.max(high - low))
    axis.set_xlim(low[0] - margin, high[0] + margin)
    axis.set_ylim(low[1] - margin, high[1] + margin)
    axis.set_aspect("equal", adjustable="box")
    axis.grid(visible=True)
    for side in (axis.xaxis, axis.yaxis):
        side.set_major_formatter(lambda value, _: number(value))


def _relays(trace: Trace, axis: Axes, view: _View) -> None:
    slots = view.of(trace.slots_m)
    axis.plot(*slots.T, "o", mfc="none", mec=MUTED, ms=7, mew=0.9, gid="slots", zorder=5)
    axis.plot(*slots[trace.slot], "o", mfc="none", mec=GREEN, ms=11, mew=1.6, gid="slot", zorder=6)
    for member in trace.members:
        place_ = view.of(member.position_m)
        axis.plot(*place_, "o", color=INK, ms=4, gid=f"member {member.name}", zorder=6)
    if len(trace.position_m):
        axis.plot(*view.of(trace.position_m[-1]), "D", color=BLUE, ms=4.5, gid="craft", zorder=7)


def _names(trace: Trace, axis: Axes, view: _View, lines: list[Array], arrows: list[Array]) -> None:
    end, slot = view.of(trace.position_m[-1]), view.of(trace.slots_m[trace.slot])
    names = [Name(clean(trace.body), (0.0, 0.0), INK)]
    if float(np.hypot(*(end - slot))) * view.unit < _THERE * trace.ring_radius_m:
        names.append(Name(f"{clean(trace.craft)}, slot {trace.slot}", end, BLUE))
    else:
        names += [Name(clean(trace.craft), end, BLUE), Name(f"slot {trace.slot}", slot, GREEN)]
    gap = "  " if view.up[2] else "\n"  # edge-on there is less room upwards
    for burn, arrow in zip(trace.burns, arrows, strict=True):
        text = f"{burn.label}{gap}{number(float(norm(burn.dv_m_s)))} m/s"
        names.append(Name(text, arrow[::-1], VERMILION))
    names += [Name(clean(one.name), view.of(one.position_m), INK) for one in trace.members]
    if len(trace.before_m):
        names.append(Name("orbit at the start", view.of(trace.before_m)[::16], ORANGE))
    if len(trace.after_m) and not view.up[2]:
        names.append(Name("orbit at the end", view.of(trace.after_m)[::16], GREEN))
    marks = [np.atleast_2d(view.of(part)) for part in (trace.slots_m, trace.position_m[-1:])]
    if not view.up[2]:
        circle = np.stack([np.cos(_AROUND), np.sin(_AROUND)], axis=-1)
        lines = [*lines, trace.body_radius_m / view.unit * circle]
    avoid = np.concatenate([*(along(axis, line) for line in lines), *marks])
    place(axis, names, avoid)


def _pole(trace: Trace, axis: Axes, view: _View) -> None:
    """The body's axis, as far as it shows beyond the disc."""
    ends = view.of(1.35 * trace.body_radius_m * np.outer([-1.0, 1.0], trace.pole))
    axis.plot(*ends.T, color=MUTED, lw=0.9, gid="pole", zorder=1)
