"""The network of a ring as it is held: when the links of a drifting ring open."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.files.ephemeris import with_sun
from simcheck.holding.drifting import Drift, drift, look_times
from simcheck.holding.relays import Relays
from simcheck.holding.serving import Closed, _places, closed_over, served
from simcheck.kernels.sampled import sampled_motion
from simcheck.networking.links import links
from simcheck.records.network import NetworkAim
from tests.cases_for_tests import ring
from tests.helpers import assert_metres
from tests.holding.bench import DAY_S, Site, about_mars, degrees_a_day, site

RELATIVE = 2e-4  # of the period of one relay


def drifting(days: float, network: NetworkAim, slots: int = 4) -> tuple[Site, Relays, Drift]:
    """A ring of which relay 1 falls back; its link to relay 2 grows longer."""
    made = replace(about_mars(days, goal=ring(12.0, slots=slots)), network=network)
    here = site(made)
    errors = np.zeros((slots, 6))
    errors[1 % slots, 1] = RELATIVE
    states = here.relays(errors)
    relays = Relays(0.0, list("abcdef"[:slots]), ["member"] * slots, here.slots, states)
    looks = look_times(0.0, days * DAY_S, here.motion.period_s)
    found = drift(here.batches, here.motion, here.slots, states, looks)
    return here, relays, found.begun(0.0, here.motion)


def closed(made: tuple[Site, Relays, Drift]) -> Closed:
    here, relays, found = made
    return closed_over(here.case, here.motion, relays, found)


def test_a_ring_opens_when_a_chord_outgrows_the_range() -> None:
    """2 a sin((90 deg + drift) / 2) reaches the range; then it is open for the rest of the time."""
    here = site(about_mars())
    most = 2 * here.motion.radius_m * np.sin(np.radians(47.5))  # 5 deg of drift
    found = closed(drifting(100.0, NetworkAim(max_range_m=float(most))))
    day = 5.0 / abs(degrees_a_day(here.motion, RELATIVE))
    assert 30 < day < 40
    assert found.opens_days == pytest.approx(day, abs=1.5)  # a look a day, and km of J2
    assert found.share == pytest.approx(day / 100.0, abs=0.015)


def test_a_ring_opens_when_the_body_comes_between() -> None:
    """a cos((90 deg + drift) / 2) sinks to the grazing height above the surface."""
    here = site(about_mars())
    least = here.motion.radius_m * np.cos(np.radians(47.5)) - here.case.body.radius_m
    found = closed(drifting(100.0, NetworkAim(grazing_height_m=float(least))))
    day = 5.0 / abs(degrees_a_day(here.motion, RELATIVE))
    assert found.opens_days == pytest.approx(day, abs=1.5)
    assert found.share == pytest.approx(day / 100.0, abs=0.015)


def test_an_eccentric_relay_opens_the_ring_now_and_then() -> None:
    """Its share over a revolution, against the links of the flown states by `networking`."""
    made = replace(about_mars(20.0), network=NetworkAim(max_range_m=18.1e6))
    here = site(made)
    errors = np.zeros((4, 6))
    errors[1, 2:4] = [0.03, -0.02]
    states = here.relays(errors)
    relays = Relays(0.0, list("abcd"), ["member"] * 4, here.slots, states)
    looks = look_times(0.0, 20 * DAY_S, here.motion.period_s)
    found = drift(here.batches, here.motion, here.slots, states, looks).begun(0.0, here.motion)
    times = np.linspace(0.0, 20 * DAY_S, 7201)
    rows = here.batches.sample(np.zeros(4), states, np.broadcast_to(times, (4, 7201)))
    flown = sampled_motion(times, rows[..., :3], rows[..., 3:])
    due = links(relays.names, flown, made.body, made.network, [0, 1, 2, 3]).closed_share
    assert due is not None
    assert 0.2 < due < 0.8
    share = closed_over(made, here.motion, relays, found).share
    # Some km of J2 in a range that changes by hundreds, and 72 places a revolution.
    assert share == pytest.approx(due, abs=0.02)


def test_places_are_those_of_the_flown_relays() -> None:
    """In two-body motion, at whole revolutions, when the first place is the relay's own."""
    here = site(about_mars(goal=ring(12.0, latitude=0.0), forces=()))
    rng = np.random.default_rng(5)
    errors = np.concatenate(
        [0.05 * rng.normal(size=(4, 1)), np.zeros((4, 1)), 0.02 * rng.normal(size=(4, 4))], axis=1
    )
    states = here.relays(errors)
    relays = Relays(0.0, list("abcd"), ["member"] * 4, here.slots, states)
    looks = look_times(0.0, 6 * DAY_S, here.motion.period_s)
    found = drift(here.batches, here.motion, here.slots, states, looks)
    seen = _places(here.motion, relays, found)
    rows = here.batches.sample(
        np.zeros(4), states, np.broadcast_to(found.times, (4, len(found.times)))
    )
    due = np.einsum("nij,mnj->mni", here.motion.frame(found.times), rows[..., :3])
    # A km by the quick look's few samples, where errors are of hundreds.
    assert_metres(seen[:, :, 0], due, within=1500.0)


def test_a_lost_relay_leaves_the_ring_open() -> None:
    here, relays, found = drifting(40.0, NetworkAim())
    assert closed((here, relays, found)) == Closed(1.0, None)
    errors = found.errors.copy()
    errors[2, 20:] = np.nan
    seen = closed((here, relays, Drift(found.times, errors)))
    assert seen.opens_days == pytest.approx(found.days(0.0)[20])
    assert seen.share == pytest.approx(0.5, abs=0.04)


@pytest.mark.parametrize("slots", [1, 2])
def test_fewer_than_three_relays_are_no_ring(slots: int) -> None:
    assert closed(drifting(5.0, NetworkAim(), slots)) == Closed(None, None)


def test_the_network_is_seen_at_both_ends() -> None:
    """Three days each; without a date there is no Sun, and so neither eclipses nor seasons."""
    here, relays, found = drifting(30.0, NetworkAim())
    first, last = served(here.case, here.motion, here.batches, relays, found.times)
    assert first is not None
    assert last is not None
    assert (first.start_s, first.end_s) == (0.0, 3 * DAY_S)
    assert last.end_s - last.start_s == pytest.approx(3 * DAY_S)
    assert first.eclipses == first.season == ()
    longest: list[Any] = [max(x.longest_m for x in one.links.links) for one in (first, last)]
    assert longest[1] > longest[0] + 3e5


def test_with_a_date_there_are_eclipses() -> None:
    here, relays, found = drifting(30.0, NetworkAim())
    made = with_sun(replace(here.case, epoch="2034-09-03T00:00:00"), 40 * DAY_S)
    first, _ = served(made, here.motion, here.batches, relays, found.times)
    assert first is not None
    assert len(first.eclipses) == 4
    assert first.season[-1].time_s == pytest.approx(30 * DAY_S, rel=0.05)
