"""Who stands on the ring: members, the craft as it arrived, and relays as planned."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.errors import InputError
from simcheck.holding.relays import Relays, relays_of
from simcheck.records.case import Member
from tests.cases_for_tests import ring
from tests.helpers import assert_metres
from tests.holding.bench import DAY_S, Site, about_mars, site


def listed(here: Site, time: float = 0.0, arrived: np.ndarray | None = None) -> Relays:
    return relays_of(here.case, here.motion, here.propagator, time, arrived)


def member(slot: int | None, state: np.ndarray | None = None) -> Member:
    place: dict[str, Any] = {}
    if state is not None:
        place = {"position_m": state[:3], "velocity_m_s": state[3:6]}
    return Member(name=f"M{slot}", slot=slot, **place)


def test_slots_that_nobody_holds_have_relays_as_planned() -> None:
    """In the order of the slots, all as heavy as the craft, each on its slot."""
    here = site(about_mars(slot=2, members=(member(3), member(0))))
    found = listed(here)
    assert found.names == ["M0", "slot 1", "R", "M3"]
    assert found.roles == ["member", "as planned", "as planned", "member"]
    assert found.craft is None
    assert found.slots.tolist() == [0, 1, 2, 3]
    assert_metres(found.states[:, :3], here.relays()[:, :3], within=0.01)
    assert set(found.states[:, 6]) == {here.case.craft.mass_kg}


def test_the_craft_is_where_it_arrived() -> None:
    """With the mass it has then, which the others are given too; members have flown on."""
    here = site(about_mars(slot=1, members=(member(0),)))
    time = 3.3 * DAY_S
    arrived = here.relays(time=time)[1] + np.array([10.0, 0, 0, 0, 0, 0, -123.0])
    found = listed(here, time, arrived)
    assert found.roles[found.craft or 0] == "craft"
    assert np.array_equal(found.states[1], arrived)
    assert set(found.states[:, 6]) == {377.0}
    # A member's place after some days differs from a relay made there by the averages' J2 squared.
    assert_metres(found.states[0, :3], here.relays(time=time)[0, :3], within=20.0)


@pytest.mark.parametrize("off", [-40.0, 0.0, 40.0])
def test_a_member_with_a_state_of_its_own_belongs_to_the_nearest_slot(off: float) -> None:
    """Up to half the way to the next slot, 45 deg."""
    here = site(about_mars())
    errors = np.zeros((4, 6))
    errors[3, 0] = np.radians(off)
    own = member(None, here.relays(errors)[3])
    there = site(replace(here.case, members=(own,)))
    assert listed(there, 0.0).names == ["R", "slot 1", "slot 2", "MNone"]


def test_two_relays_near_one_slot_are_refused() -> None:
    """Both are named, and the slot."""
    here = site(about_mars())
    errors = np.zeros((4, 6))
    errors[0, 0] = np.radians(20.0)
    made = replace(here.case, members=(member(None, here.relays(errors)[0]), member(2)))
    arrived = here.relays()[0]
    with pytest.raises(InputError, match=r"MNone and R are both nearest to slot 0; .* one relay"):
        listed(site(made), 0.0, arrived)


def test_a_ring_of_one_slot_has_the_craft_alone() -> None:
    here = site(about_mars(goal=ring(12.0, slots=1)))
    assert listed(here).names == ["R"]
    assert listed(here, 0.0, here.relays()[0]).roles == ["craft"]
