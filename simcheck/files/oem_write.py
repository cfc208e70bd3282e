"""A flight as an orbit ephemeris message (CCSDS 502.0-B-3, section 5), by the package `oem`.

Each arc between two ignitions or cutoffs is a block of its own, so that no interpolation runs
across one. Dates are in TDB to the microsecond, which is what the package writes; each state is
that of the date as written. The steps follow the orbit, short where the craft is low, and are so
short that Hermite interpolation of degree 7 stays within a tenth of a metre of the flight; how near
it comes in the middle of every step is measured and stands in the message.
"""

from __future__ import annotations

import math
import tempfile
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import Propagator, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import InputError
from simcheck.files.epochs import date_after
from simcheck.files.message_axes import is_earth, own_frame
from simcheck.files.message_text import ORIGINATOR, UNKNOWN, Lines, plain
from simcheck.files.opm_write import axes_note
from simcheck.kernels.vectors import norm
from simcheck.records.case import Case
from simcheck.records.flight import Arc, Flight

DEGREE = 7
GOAL_M = 0.1
"""Largest distance between interpolation and flight that the steps are chosen for."""

_NODES = (DEGREE + 1) // 2
_FIRST = 0.5  # of sqrt(r^3 / GM), the time in which the craft turns by a radian: the longest step
_SHRINK = 0.9
_LEAST = 0.3  # of a step, by which it shrinks at most at once
_BETTER = 0.7  # of the error with fewer steps: where more do not bring that, rounding is left
_SHORTEST_S = 1e-5  # an arc that has no room for four dates
_DIGITS = 6


class Block(NamedTuple):
    """One arc: times in s past the epoch (n,), states (n, 6), and the error of interpolation, m."""

    arc: Arc
    times: Array
    states: Array
    error_m: float


def oem_text(case: Case, flight: Flight, epoch: str, created: str) -> str:
    """The message. epoch: the case's, TDB; created: now, UTC.

    Raises InputError where the package `oem` is missing.
    """
    oem = needed()
    blocks = ephemeris(case, flight, epoch)
    header = {"CCSDS_OEM_VERS": "3.0", "CREATION_DATE": created, "ORIGINATOR": ORIGINATOR}
    message = oem.OrbitEphemerisMessage(
        oem.components.HeaderSection(header), [_segment(oem, case, x, epoch) for x in blocks]
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "flight.oem"
        message.save_as(path)
        text = path.read_text(encoding="utf-8")
    return _commented(text, case, flight, blocks)


def needed() -> Any:
    """The package that writes ephemerides. Raises InputError where it is missing."""
    try:
        import oem
        import oem.components
    except ImportError:
        raise InputError(
            "an ephemeris (.oem) is written by the package oem; pip install 'simcheck[messages]'"
        ) from None
    return oem


def ephemeris(case: Case, flight: Flight, epoch: str) -> list[Block]:
    """The states of a flight, arc by arc, dense enough to interpolate."""
    propagator = fast_propagator(gravity_of(case))
    below = _below(epoch)
    arcs = [arc for arc in flight.arcs if arc.end_s - arc.start_s > _SHORTEST_S]
    return [_block(propagator, arc, below) for arc in arcs]


def _block(propagator: Propagator, arc: Arc, below: float) -> Block:
    step, before, count = _FIRST, math.inf, 0
    while True:
        times = _dates(propagator, arc, step, below)
        states = _states(propagator, arc, times)
        middles = 0.5 * (times[1:] + times[:-1])
        truth = _states(propagator, arc, middles)
        error = float(norm(hermite(times, states, middles) - truth[:, :3]).max())
        no_better = len(times) > count and error > _BETTER * before
        if error <= GOAL_M or no_better:
            return Block(arc, times, states, error)
        before, count = error, len(times)
        step *= max(_LEAST, _SHRINK * (GOAL_M / error) ** (1.0 / (DEGREE + 1)))


def _dates(propagator: Propagator, arc: Arc, step: float, below: float) -> Array:
    """Times of an arc, both ends included, each a whole microsecond as a date."""
    gm, found, state = propagator.gravity.gm, [arc.start_s], _start(arc)
    least = (arc.end_s - arc.start_s) / (2 * _NODES)
    while True:
        ahead = min(step * math.sqrt(float(norm(state[:3])) ** 3 / gm), 2 * least)
        if found[-1] + 1.5 * ahead >= arc.end_s:
            break
        state = _advanced(propagator, arc, found[-1], state, found[-1] + ahead)
        found.append(found[-1] + ahead)
    if arc.end_s - found[-1] > ahead:
        found.append(0.5 * (found[-1] + arc.end_s))
    rounded = np.round(np.array([*found, arc.end_s]) + below, _DIGITS) - below
    return np.unique(rounded)


def _states(propagator: Propagator, arc: Arc, times: Array) -> Array:
    """States (n, 6) of an arc at times, which may lie a microsecond outside it."""
    time, state, rows = arc.start_s, _start(arc), []
    for wanted in times:
        state = _advanced(propagator, arc, time, state, float(wanted))
        time = float(wanted)
        rows.append(state[:6])
    return np.array(rows)


def _advanced(propagator: Propagator, arc: Arc, time: float, state: Array, until: float) -> Array:
    thrust = None
    if arc.kind == "burn" and arc.direction is not None and arc.steering and until > time:
        thrust = Thrust(
            thrust_n=arc.thrust_n, isp_s=arc.isp_s, steering=arc.steering, direction=arc.direction
        )
    return propagator.advance(time, state, until, thrust).state


def _start(arc: Arc) -> Array:
    start = arc.start
    return np.concatenate([start.position_m, start.velocity_m_s, [start.mass_kg]])


def _below(epoch: str) -> float:
    """What of the epoch's second lies below a microsecond, s."""
    digits = date_after(epoch, 0.0).partition(".")[2][_DIGITS:]
    return float(Decimal(f"0.{digits or 0}").scaleb(-_DIGITS))


def hermite(times: Array, states: Array, wanted: Array) -> Array:
    """Positions (m, 3) at wanted times, from the states (n, 6) at the four times about each.

    Newton's divided differences on nodes that each count twice, in units of their span.
    """
    inner = np.clip(np.searchsorted(times, wanted) - _NODES // 2, 0, len(times) - _NODES)
    at = inner[:, None] + np.arange(_NODES)
    span = times[at[:, -1]] - times[at[:, 0]]
    nodes = np.repeat((times[at] - times[at[:, :1]]) / span[:, None], 2, axis=1)[..., None]
    table = np.repeat(states[at][..., :3], 2, axis=1)
    rates = states[at][..., 3:] * span[:, None, None]
    found, terms = [table[:, 0]], np.diff(table, axis=1)
    for order in range(1, DEGREE + 1):
        gaps = nodes[:, order:] - nodes[:, :-order]
        safe = np.where(gaps == 0.0, 1.0, gaps)
        if order == 1:
            terms = np.diff(table, axis=1) / safe
            terms[:, ::2] = rates
        else:
            terms = np.diff(terms, axis=1) / safe
        found.append(terms[:, 0])
    place = ((wanted - times[at[:, 0]]) / span)[:, None]
    total = found[-1]
    for order in range(DEGREE - 1, -1, -1):
        total = total * (place - nodes[:, order]) + found[order]
    return np.asarray(total)


def _segment(oem: Any, case: Case, block: Block, epoch: str) -> Any:
    from astropy.time import Time

    dates = [date_after(epoch, float(time), _DIGITS) for time in block.times]
    about = {
        "OBJECT_NAME": plain(case.craft.name) or UNKNOWN,
        "OBJECT_ID": UNKNOWN,
        "CENTER_NAME": plain(case.body.name.upper()),
        "REF_FRAME": own_frame(case.body),
        **({"REF_FRAME_EPOCH": date_after(epoch, 0.0)} if is_earth(case.body) else {}),
        "TIME_SYSTEM": "TDB",
        "START_TIME": dates[0],
        "STOP_TIME": dates[-1],
        "INTERPOLATION": "HERMITE",
        "INTERPOLATION_DEGREE": str(DEGREE),
    }
    columns = [[float(value) for value in column] for column in (block.states / 1e3).T]
    times = Time(dates, format="isot", scale="tdb", precision=_DIGITS)
    return oem.components.EphemerisSegment(
        oem.components.MetaDataSection(about, version="3.0"), (times, *columns), version="3.0"
    )


def _commented(text: str, case: Case, flight: Flight, blocks: list[Block]) -> str:
    """The package's text with comments, which it has no place for."""
    head, *parts = text.split("META_STOP\n")
    lines = Lines()
    lines.comment(case.title)
    drawn = "without errors"
    if flight.sample is not None:
        drawn = f"with errors, sample {flight.sample} of seed {flight.seed}"
    lines.comment(f"A simulated flight {drawn}; a block for every coast and burn")
    axes_note(lines, case)
    first, rest = head.split("\n", 1)
    found = [f"{first}\n{lines.text}{rest}"]
    for block, part in zip(blocks, parts, strict=True):
        about = Lines()
        arc = block.arc
        name = f"burn {arc.burn}" if arc.kind == "burn" else "coast"
        about.comment(f"{name}; interpolated within {max(block.error_m, 1e-3):.1g} m of the flight")
        found.append(f"{about.text}{part}")
    return "META_STOP\n".join(found)
