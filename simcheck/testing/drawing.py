"""Hypothesis strategies for cases that `load_case` would accept.

Every number is drawn as a whole number, or one with a decimal, in a unit that people use, so that
what hypothesis shrinks to can be read, and `as_toml` writes it exactly. A case that fails is shown
as the text of its file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Literal, TypeAlias

import numpy as np
from hypothesis import strategies as st

from simcheck.bodies import built_in
from simcheck.files.case_text import as_toml
from simcheck.files.units import parse
from simcheck.kernels.elements import state_from_classical
from simcheck.kernels.kepler import axis_of_period
from simcheck.kernels.vectors import TAU
from simcheck.records.case import (
    Body,
    Case,
    Craft,
    DispersionAim,
    Force,
    Member,
    Ring,
)
from simcheck.testing.settings import (
    degrees,
    drawn,
    engines,
    erring,
    limits,
    number,
    step_km,
    thrusters,
    tolerances,
)

Start: TypeAlias = Literal["circular", "eccentric"]

BODIES = ("Mars", "Earth", "Moon")
_FORCES: tuple[tuple[Force, ...], ...] = ((), ("j2",), ("j2", "j3", "j4"))
_APART_DEG = 12  # between the craft's plane and the ring's, in inclination; in node a little more
_LOW, _NEAR, _FAR = 0.3, 1.2, 4.0  # heights in radii: the lowest periapsis, and of the ring


class DrawnCase(Case):
    """A case that shows itself as the text of its file."""

    def __repr__(self) -> str:
        return f'"""\n{as_toml(self)}"""'

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self))


@st.composite
def cases(
    draw: st.DrawFn,
    *,
    body: str | Body | None = None,
    forces: Sequence[Force] | None = None,
    start: Start | None = None,
    with_phase: bool | None = None,
    with_members: bool | None = None,
    with_thrusters: bool | None = None,
    with_errors: bool | None = None,
    with_limits: bool | None = None,
) -> Case:
    """Cases of a craft to be brought to a ring some degrees off, with propellant for most of them.

    What is None is drawn: a body of BODIES, its forces, whether the start is circular, whether the
    phase is aimed at, and whether there are members, thrusters, errors with a flight team, and
    limits besides the duration. body: the name of a built-in one, or any other.
    """
    if not isinstance(body, Body):
        body = built_in(body or draw(st.sampled_from(BODIES)))
    field = drawn(draw, _possible(body), None if forces is None else tuple(forces))
    ring = draw(_rings(body))
    radius = _radius(ring, body)
    slot = draw(st.integers(0, ring.slots - 1))
    others = [k for k in range(ring.slots) if k != slot]
    crowd = with_members is not False and others
    taken = draw(st.lists(st.sampled_from(others), unique=True)) if crowd else []
    if with_members and others and not taken:
        taken = others[:1]
    dry, propellant = _masses(draw)
    position, velocity, lowest, highest = draw(_starts(body, ring, start))
    revolution = TAU * math.sqrt(radius**3 / body.gm_m3_s2)
    return DrawnCase(
        title="drawn",
        epoch=draw(st.sampled_from([None, "2034-01-01T00:00:00"])),
        body=body,
        forces=field,
        ring=ring,
        members=tuple(Member(name=f"R{k}", slot=k) for k in sorted(taken)),
        craft=Craft(
            name="Craft",
            slot=slot,
            dry_mass_kg=dry,
            propellant_kg=propellant,
            position_m=position,
            velocity_m_s=velocity,
        ),
        engine=draw(engines(body.gm_m3_s2 / radius**2 * (dry + propellant), revolution)),
        thrusters=draw(thrusters()) if drawn(draw, (False, True), with_thrusters) else None,
        **erring(draw, with_errors),
        dispersion=DispersionAim(),
        tolerance=draw(tolerances(revolution, with_phase)),
        limits=draw(limits(body, (lowest, highest, radius), revolution, bool(taken), with_limits)),
    )


def _possible(body: Body) -> tuple[tuple[Force, ...], ...]:
    """The fields of gravity that the body has the constants for."""
    known = {"j2": body.j2, "j3": body.j3, "j4": body.j4}
    return tuple(forces for forces in _FORCES if all(known[force] for force in forces))


@st.composite
def _rings(draw: st.DrawFn, body: Body) -> Ring:
    """Rings between _NEAR and _FAR radii above the surface, by altitude or by period."""
    by_period = draw(st.booleans())
    if by_period:
        spans = [TAU * math.sqrt((h * body.radius_m) ** 3 / body.gm_m3_s2) for h in _SPAN]
        low, high = math.ceil(spans[0] / 900.0), math.floor(spans[1] / 900.0)
        size = number(draw, low, high, "h", "time", 0.25)
    else:
        step = step_km(body)
        low, high = (round(h * body.radius_m / 1e3 / step) for h in (_NEAR, _FAR))
        size = number(draw, low, high, "km", "length", step) + body.radius_m
    return Ring(
        size="period" if by_period else "radius",
        size_value=size,
        inclination_rad=degrees(draw, high=180),
        raan_rad=degrees(draw),
        slots=draw(st.integers(1, 6)),
        argument_of_latitude_rad=degrees(draw),
    )


_SPAN = (1 + _NEAR, 1 + _FAR)


def _radius(ring: Ring, body: Body) -> float:
    """The ring's radius in m, in two-body motion."""
    if ring.size == "radius":
        return ring.size_value
    return float(axis_of_period(ring.size_value, body.gm_m3_s2))


@st.composite
def _starts(
    draw: st.DrawFn, body: Body, ring: Ring, start: Start | None
) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Position, velocity, and the radii of periapsis and apoapsis of a start near the ring's plane.

    Written down as a file would have it, so that the floats are those that a file gives.
    """
    step = step_km(body)
    lowest, highest = (round(h * body.radius_m / 1e3 / step) for h in (_LOW, _FAR))
    most = 0 if drawn(draw, ("circular", "eccentric"), start) == "circular" else highest
    first = draw(st.integers(lowest, highest - min(most, 1)))
    second = draw(st.integers(first + 1, highest)) if most else first
    low, high = (
        parse(f"{round(height * step, 6)} km", "length") + body.radius_m
        for height in (first, second)
    )
    tilt = round(math.degrees(ring.inclination_rad))
    inclination = degrees(draw, max(tilt - _APART_DEG, 0), min(tilt + _APART_DEG, 180))
    node = round(math.degrees(ring.raan_rad)) + draw(st.integers(-_APART_DEG, _APART_DEG))
    flat = math.sin(inclination) < 1e-9
    raan = 0.0 if flat else parse(f"{node % 360} deg", "angle")
    argp = 0.0 if low == high else degrees(draw)
    e = (high - low) / (high + low)
    r, v = state_from_classical(
        low * (1.0 + e), e, inclination, raan, argp, degrees(draw), body.gm_m3_s2
    )
    return r, v, low, high


def _masses(draw: st.DrawFn) -> tuple[float, float]:
    """Dry mass and propellant in kg, good for 3 to 8 km/s."""
    dry = draw(st.integers(10, 100)) * 10
    return float(dry), float(dry * draw(st.integers(2, 5)))
