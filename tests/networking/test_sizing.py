"""What radius and how many relays a ring needs, and the warning that says so."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.visibility import lowest_of_segment
from simcheck.networking.sizing import budget_range, margin_db, ring_geometry, ring_warning
from simcheck.records.case import Body, Case
from simcheck.records.network import LinkBudget, NetworkAim
from tests.cli import samples
from tests.networking.rings import EARTH, GEO_M

BUDGET = LinkBudget(
    frequency_hz=2.2e9,
    power_w=5.0,
    sensitivity_w=1e-16,
    transmit_gain_db=6.0,
    receive_gain_db=6.0,
    losses_db=1.0,
    margin_db=3.0,
)


def case(slots: int = 4, **aim: float) -> Case:
    made = samples.case(network=NetworkAim(**aim))  # type: ignore[arg-type]
    return samples.changed(made, ring=dataclasses.replace(made.ring, slots=slots))


@pytest.mark.parametrize(
    ("radius_km", "altitudes_km"),
    [
        (6378.137, (6378.137, 2641.911, 1505.674, 986.701, 525.509)),
        (3396.19, (3396.19, 1406.748, 801.732, 525.392, 279.820)),
        (1737.4, (1737.4, 719.655, 410.145, 268.777, 143.148)),
    ],
)
def test_the_least_altitude(radius_km: float, altitudes_km: tuple[float, ...]) -> None:
    """Of 3, 4, 5, 6 and 8 relays about the Earth, Mars and the Moon (tabulated, elementary)."""
    body = Body(name="B", gm_m3_s2=1e14, radius_m=radius_km * 1e3)
    for slots, altitude in zip((3, 4, 5, 6, 8), altitudes_km, strict=True):
        found = ring_geometry(body, NetworkAim(), slots, 3 * body.radius_m)
        assert found.needed_radius_m is not None
        assert (found.needed_radius_m - body.radius_m) / 1e3 == pytest.approx(altitude, abs=6e-4)


def test_three_geostationary_relays() -> None:
    """Chord and closest approach are the tabulated ones; the street reaches 72 deg."""
    found = ring_geometry(EARTH, NetworkAim(), 3, GEO_M)
    assert found.neighbour_range_m == pytest.approx(73030.5e3, abs=50.0)
    assert found.line_height_m + EARTH.radius_m == pytest.approx(21082.1e3, abs=50.0)
    assert found.cap_deg == pytest.approx(81.30, abs=0.005)
    # cos(street) = cos(81.2995 deg) / cos(60 deg), by hand.
    assert found.street_deg == pytest.approx(72.390, abs=0.001)
    assert found.needed_slots == 3
    assert math.isinf(found.range_limit_m)


@given(st.floats(1.02, 30.0), st.floats(0.0, 0.5))
def test_the_fewest_relays_are_enough_and_one_fewer_is_not(ratio: float, grazing: float) -> None:
    """By the line between two neighbours itself."""
    radius, floor = ratio * EARTH.radius_m, (1.0 + grazing) * EARTH.radius_m
    aim = NetworkAim(grazing_height_m=grazing * EARTH.radius_m)
    needed = ring_geometry(EARTH, aim, 4, radius).needed_slots
    if radius <= floor:
        assert needed is None
        return
    assert needed is not None

    def lowest(relays: int) -> float:
        turn = 2 * np.pi / relays
        end = radius * np.array([math.cos(turn), math.sin(turn), 0.0])
        return float(lowest_of_segment(np.array([radius, 0.0, 0.0]), end))

    assert lowest(needed) >= floor * (1 - 1e-8)
    assert needed == 3 or lowest(needed - 1) < floor


@given(st.floats(1e4, 1e8))
def test_the_range_asks_for_more_relays(limit: float) -> None:
    """Neighbours lie within the range at the fewest relays, and beyond it with one fewer."""
    needed = ring_geometry(EARTH, NetworkAim(max_range_m=limit), 4, GEO_M).needed_slots
    assert needed is not None
    assert 2 * GEO_M * math.sin(math.pi / needed) <= limit * (1 + 1e-8)
    assert needed == 3 or 2 * GEO_M * math.sin(math.pi / (needed - 1)) > limit


def test_the_budgets_range_has_exactly_its_margin() -> None:
    """The margin at the budget's range is the one asked for, by the rule in MHz and km."""
    reach = budget_range(BUDGET)
    assert margin_db(BUDGET, reach) == pytest.approx(3.0, abs=1e-9)
    rule = 32.45 + 20 * math.log10(2200.0) + 20 * math.log10(reach / 1e3)
    # 5 W is 6.99 dBW; 6 + 6 - 1 dB of gains; 1e-16 W is -160 dBW; 3 dB stay.
    assert rule == pytest.approx(6.99 + 11.0 + 160.0 - 3.0, abs=0.01)
    assert budget_range(None) == math.inf


def test_no_warning_where_the_ring_works() -> None:
    """Nor below three slots, which are no ring."""
    assert ring_warning(case(), 12_652e3) is None
    assert ring_warning(case(slots=2), 3.5e6) is None
    assert ring_warning(case(slots=1), 3.5e6) is None
    least = samples.case().body.radius_m / math.cos(math.pi / 4)
    assert ring_warning(case(), least) is None
    assert ring_warning(case(), least - 1.0) is not None


def test_a_hidden_neighbour_is_warned_of() -> None:
    """Radius, altitude and number of relays that would do are said."""
    text = ring_warning(case(grazing_height_m=1e5), 4e6)
    assert text == (
        "Neighbours do not see each other past 100.0 km above the surface of Mars: the line between"
        " them passes 567.8 km below the surface; 4 relays need a radius of 4944.4 km, an altitude"
        " of 1548.2 km. At this radius the ring closes with 7 relays or more."
    )
    needed = (3396.19e3 + 1e5) / math.cos(math.pi / 4)
    assert needed == pytest.approx(4944.4e3, abs=50.0)
    assert 4e6 * math.cos(math.pi / 7) > 3496.19e3 > 4e6 * math.cos(math.pi / 6)


def test_a_far_neighbour_is_warned_of() -> None:
    """And where no number of relays helps it says so."""
    text = ring_warning(case(max_range_m=1e7), 12_652e3)
    assert text == (
        "Neighbours are 17892.6 km apart, beyond the range of a link, 10000.0 km. At this radius"
        " the ring closes with 8 relays or more."
    )
    text = ring_warning(case(grazing_height_m=1e6), 4e6)
    assert text is not None
    assert text.endswith("No number of relays closes the ring at this radius.")
