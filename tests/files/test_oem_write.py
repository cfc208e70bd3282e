"""A flight as an ephemeris: interpolated by another program it is the flight again."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import simcheck
from simcheck.engines.base import Thrust
from simcheck.engines.choosing import reference_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import InputError
from simcheck.files import oem_write
from simcheck.files.epochs import date_after
from simcheck.files.oem_write import GOAL_M, Block, ephemeris, hermite, oem_text
from simcheck.records.case import Case
from simcheck.records.flight import Arc, Flight
from tests.files.test_message_write import EARTH_CASE, MARS_CASE, PLAN, plan_of
from tests.helpers import assert_metres, assert_metres_per_second

CREATED = "2031-04-01T00:00:00"
EPOCH = "2031-04-12T06:00:00.1234567"  # finer than the microsecond that the package writes


@pytest.fixture(scope="module")
def flown() -> tuple[Case, Flight, list[Block]]:
    """A flight with three burns from an eccentric orbit, and its ephemeris."""
    at = replace(MARS_CASE, epoch=EPOCH)
    flight = simcheck.fly(at, PLAN, reference=False)
    return at, flight, ephemeris(at, flight, EPOCH)


def truth(at: Case, arc: Arc, time: float) -> np.ndarray:
    """The state of an arc at a time, by the reference propagator."""
    start = np.concatenate([arc.start.position_m, arc.start.velocity_m_s, [arc.start.mass_kg]])
    thrust = None
    if arc.kind == "burn" and arc.direction is not None and arc.steering is not None:
        thrust = Thrust(
            thrust_n=arc.thrust_n, isp_s=arc.isp_s, steering=arc.steering, direction=arc.direction
        )
    propagator = reference_propagator(gravity_of(at))
    return propagator.advance(arc.start_s, start, time, thrust).state


def test_a_block_for_every_arc(flown: tuple[Case, Flight, list[Block]]) -> None:
    """Coasts and burns alternate, each from where the one ahead ended."""
    _, flight, blocks = flown
    assert [block.arc for block in blocks] == list(flight.arcs)
    assert len(blocks) == 7
    for one, two in pairwise(blocks):
        assert one.times[-1] == two.times[0]
        assert_metres(one.states[-1, :3], two.states[0, :3], within=1e-6)
    for block in blocks:
        assert len(block.times) >= 4
        assert (np.diff(block.times) > 0).all()
        assert abs(block.times[0] - block.arc.start_s) <= 5.1e-7
        assert abs(block.times[-1] - block.arc.end_s) <= 5.1e-7


def test_steps_follow_the_goal() -> None:
    """A whole orbit or a part of one, low or high: interpolated within a tenth of a metre."""
    for gap in (300.0, 1500.0, 3000.0, 4500.0, 6000.0, 20000.0):
        plan = plan_of(MARS_CASE, (gap, 1.0, "inertial", [0.0, 1.0, 0.0], "engine"))
        flight = simcheck.fly(MARS_CASE, plan, reference=False)
        for block in ephemeris(MARS_CASE, flight, EPOCH):
            assert block.error_m <= GOAL_M
            assert len(block.times) < 6 + 40 * (block.times[-1] - block.times[0]) / 11000.0


def test_dates_are_whole_microseconds(flown: tuple[Case, Flight, list[Block]]) -> None:
    """Each state is that of the date as it is written, whatever the epoch."""
    at, _, blocks = flown
    for block in blocks:
        for time in block.times:
            digits = date_after(EPOCH, float(time), 9).partition(".")[2].ljust(9, "0")
            assert digits[6:] in {"000", "999", "001"}  # a double has no more
    block = blocks[2]
    wanted = truth(at, block.arc, float(block.times[5]))
    assert_metres(block.states[5, :3], wanted[:3], within=1e-3)


def test_the_package_interpolates_the_flight(
    flown: tuple[Case, Flight, list[Block]], tmp_path: Path
) -> None:
    """Read and interpolated by the package oem, states are within a metre of the flight."""
    oem: Any = pytest.importorskip("oem")
    from astropy.time import Time

    at, flight, blocks = flown
    path = tmp_path / "flight.oem"
    path.write_text(oem_text(at, flight, EPOCH, CREATED), encoding="ascii")
    read = oem.OrbitEphemerisMessage.open(path)
    segments = list(read)
    assert len(segments) == len(blocks)
    worst = 0.0
    for block, segment in zip(blocks, segments, strict=True):
        assert segment.metadata["REF_FRAME"] == "INERTIAL"
        assert segment.metadata["CENTER_NAME"] == "MARS"
        assert segment.metadata["INTERPOLATION"] == "HERMITE"
        assert segment.metadata["INTERPOLATION_DEGREE"] == 7
        span = block.times[-1] - block.times[0]
        for share in (0.013, 0.29, 0.5, 0.77, 0.985):
            time = float(block.times[0] + share * span)
            state = segment(Time(date_after(EPOCH, time), format="isot", scale="tdb"))
            wanted = truth(at, block.arc, time)
            assert_metres(1e3 * state.position, wanted[:3], within=1.0)
            assert_metres_per_second(1e3 * state.velocity, wanted[3:6], within=0.01)
            worst = max(worst, float(np.linalg.norm(1e3 * state.position - wanted[:3])))
    assert worst < 2.0 * GOAL_M  # the middles of the steps, where it is measured, are not the worst


def test_an_independent_reader(flown: tuple[Case, Flight, list[Block]]) -> None:
    """Another reader of the standard finds the same blocks, comments in their places."""
    ndm = pytest.importorskip("ccsds_ndm")
    pytest.importorskip("oem")
    at, flight, blocks = flown
    message = ndm.from_str(oem_text(at, flight, EPOCH, CREATED))
    assert len(message.segments) == len(blocks)
    for segment, block in zip(message.segments, blocks, strict=True):
        first = segment.data.state_vector[0]
        found = 1e3 * np.array([first.x, first.y, first.z])
        assert_metres(found, block.states[0, :3], within=1e-6)
        assert len(segment.data.state_vector) == len(block.times)


def test_true_of_date_about_the_earth() -> None:
    """About the Earth the axes are those of date, of the case's epoch."""
    pytest.importorskip("oem")
    plan = plan_of(EARTH_CASE, (7000.0, 10.0, "rsw", [0.0, 1.0, 0.0], "engine"))
    flight = simcheck.fly(EARTH_CASE, plan, seed=0, sample=4, reference=False)
    text = oem_text(EARTH_CASE, flight, str(EARTH_CASE.epoch), CREATED)
    assert text.count("REF_FRAME = TOD\nREF_FRAME_EPOCH = 2031-04-12T06:00:00.25\n") == 3
    assert "CENTER_NAME = EARTH" in text
    assert "COMMENT A simulated flight with errors, sample 4 of seed 0; a block for" in text
    assert text.count("COMMENT coast; interpolated within 0.0") == 2
    assert text.startswith("CCSDS_OEM_VERS = 3.0\nCOMMENT invented for a test\n")


@given(
    st.lists(st.floats(-5.0, 5.0), min_size=8, max_size=8),
    st.lists(st.floats(0.5, 2.0), min_size=5, max_size=5),
    st.floats(0.0, 1.0),
)
def test_hermite_is_exact_to_degree_seven(
    factors: list[float], steps: list[float], share: float
) -> None:
    """Polynomials of degree 7 are met, those of degree 8 are not."""
    times = 1000.0 * np.concatenate([[0.0], np.cumsum(steps)])
    span = times[-1]

    def states(polynomial: np.polynomial.Polynomial) -> np.ndarray:
        rate = polynomial.deriv()
        columns = [polynomial(times / span)] * 3 + [rate(times / span) / span] * 3
        return np.stack(columns, axis=1)

    seventh = np.polynomial.Polynomial(factors)
    at = np.array([share * span])
    found = hermite(times, states(seventh), at)
    assert np.abs(found - seventh(share)).max() < 1e-9 * (1.0 + sum(map(abs, factors)))
    eighth = np.polynomial.Polynomial([0.0] * 8 + [1e6])
    middle = 0.5 * (times[1:2] + times[2:3])
    assert np.abs(hermite(times, states(eighth), middle) - eighth(middle / span)).max() > 1e-3


def test_without_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the package is missing, the message says how to get it."""
    import sys

    monkeypatch.setitem(sys.modules, "oem", None)
    with pytest.raises(InputError, match=r"pip install 'simcheck\[messages\]'"):
        oem_write.needed()
