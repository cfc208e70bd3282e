"""How near the flights come to each member: least, percentiles, how likely they keep clear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from simcheck.dispersing.flights import Job, fly_chunk
from simcheck.dispersing.summary import summarise
from simcheck.engines.base import Propagator, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.files import row_file
from simcheck.files.row_file import RowFile
from simcheck.flying.mission import fly_plan
from simcheck.kernels.quantiles import quantile_interval
from simcheck.measuring import resolve_ring
from simcheck.planning.commanding import member_states
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case, Errors, Limits, Member
from simcheck.records.dispersion import Dispersion, Rows
from simcheck.records.flight import Arc, Flight
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.cases_for_tests import MARS, case
from tests.cli import samples
from tests.dispersing.rows import some

ASKED = Limits(separation_m=0.4)


def made_up(count: int = 3000, *, made: Case | None = None) -> tuple[Rows, Dispersion]:
    """Rows of a case with two members, whose distances are normal numbers about 2, and the sum."""
    made = samples.case(limits=ASKED) if made is None else made
    rows = some(count, made=made)
    for name in ("closest_1_m", "closest_2_m", "closest_approach_m"):
        if name in (rows.dtype.names or ()):
            rows[name] += 2.0
    return rows, summed(made, rows)


def summed(made: Case, rows: Rows) -> Dispersion:
    job = Job(case=made, plan=samples.plan(), seed=2, planner="ring")
    with RowFile() as table:
        table.put(0, rows)
        return summarise(job, table, len(rows), "all samples flown")


@pytest.mark.parametrize("block", [7, 10_000])
def test_the_least_and_the_percentiles_are_those_of_the_rows(
    block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The least with its sample; each percentile with its bounds, against sorting."""
    monkeypatch.setattr(row_file, "BLOCK", block)
    rows, found = made_up(400 if block == 7 else 3000)
    assert [one.member for one in found.approaches] == ["R1", "R2"]
    for k, one in enumerate(found.approaches, start=1):
        distance = rows[f"closest_{k}_m"]
        assert one.least_sample == np.nanargmin(distance)
        assert one.least_m == np.nanmin(distance)
        known = np.sort(distance[np.isfinite(distance)])
        for level, value, low in zip(
            one.closest.levels, one.closest.values, one.closest.low, strict=True
        ):
            if np.isfinite(value):
                assert np.mean(known <= value) >= level / 100 - 1e-12
                assert np.mean(known < value) < level / 100
            place, _ = quantile_interval(len(known), level / 100, 0.9)
            assert np.isnan(place) or low == known[int(place)]


@pytest.mark.reference("scipy.stats.binomtest, exact")
def test_how_likely_each_member_is_kept_clear_of() -> None:
    """Counts of the rows with Clopper and Pearson's interval; one without a value keeps nothing."""
    rows, found = made_up()
    parts = [(found.separation, rows["closest_approach_m"])]
    parts += [(one.kept, rows[f"closest_{k}_m"]) for k, one in enumerate(found.approaches, 1)]
    assert np.isnan(rows["closest_1_m"]).any()
    for kept, distance in parts:
        good = sum(x >= ASKED.separation_m for x in distance.tolist())
        assert kept is not None
        assert 0 < good < len(rows)
        assert kept.count == good
        assert kept.probability == good / len(rows)
        sure = stats.binomtest(good, len(rows)).proportion_ci(0.9, method="exact")
        assert (kept.low, kept.high) == pytest.approx((sure.low, sure.high), abs=1e-12)
    assert found.separation is not None
    assert all(one.kept and one.kept.count >= found.separation.count for one in found.approaches)


def test_without_a_separation_nothing_is_judged() -> None:
    """Distances all the same; without members not even those."""
    rows, found = made_up(200, made=samples.case(limits=Limits()))
    assert found.separation is None
    assert [one.kept for one in found.approaches] == [None, None]
    assert found.approaches[0].least_m == np.nanmin(rows["closest_1_m"])
    rows, found = made_up(200, made=samples.case(members=()))
    assert rows.dtype.names is not None
    assert "closest_1_m" not in rows.dtype.names
    assert (found.separation, found.approaches) == (None, ())


def test_no_value_at_all_is_no_least() -> None:
    """Not one flight could be computed: no least, and nothing is shown to be kept."""
    made = samples.case(limits=ASKED)
    rows = some(50, made=made)
    for name in ("closest_1_m", "closest_2_m", "closest_approach_m"):
        rows[name] = np.nan
    one = summed(made, rows).approaches[0]
    assert np.isnan(one.least_m)
    assert one.least_sample is None
    assert one.kept is not None
    assert one.kept.count == 0


def relay(**limits: float) -> tuple[Case, Plan]:
    """A relay about an oblate Mars with two members, one beside the slot, and a plan; invented."""
    near = (Member(name="Near", slot=2), Member(name="Far", slot=0))
    made = case(MARS, slot=3, forces=("j2",), members=near, **limits)
    errors = Errors(thrust_bias=0.01, magnitude_proportional=0.01, pointing_proportional_rad=0.01)
    made = replace(made, errors=errors)
    return made, plan_ring(made, Wish(effort=0))


def test_the_spread_is_that_of_flights_one_by_one() -> None:
    """Each member's distance in each row is that of the sample flown alone, to a metre.

    The flights spread by far more than that.
    """
    made, plan = relay()
    rows = fly_chunk(Job(case=made, plan=plan, seed=5, planner="ring"), 0, 12)
    for row in rows:
        one = fly_plan(made, plan, seed=5, sample=int(row["sample"]), reference=False)
        for k, name in enumerate(("Near", "Far"), start=1):
            least = min(x.distance_m for x in one.approaches if x.member == name)
            assert row[f"closest_{k}_m"] == pytest.approx(least, abs=1.0)
        assert row["closest_approach_m"] == min(row["closest_1_m"], row["closest_2_m"])
    assert np.ptp(rows["closest_1_m"]) > 1e3


def test_a_member_passed_during_a_burn_is_seen() -> None:
    """A member that passes 30 km beside the craft half-way through a burn: nearest in that burn.

    In every row, to a metre, as in the flight alone, which names the arc.
    """
    made, plan = relay()
    propagator = fast_propagator(gravity_of(made))
    burn = max((x for x in fly_plan(made, plan).arcs if x.kind == "burn"), key=lambda x: x.dv_m_s)
    half = (burn.start_s + burn.end_s) / 2
    lit = np.concatenate([burn.start.position_m, burn.start.velocity_m_s, [burn.start.mass_kg]])
    beside = propagator.advance(burn.start_s, lit, half, thrust_of(burn)).state
    beside[:6] += np.array([0.0, 0.0, 30e3, 900.0, 0.0, 0.0])
    state = propagator.advance(half, beside, 0.0).state
    passed = Member(name="Passed", slot=None, position_m=state[:3], velocity_m_s=state[3:6])
    made = replace(made, members=(passed,), errors=Errors(thrust_bias=1e-3))
    rows = fly_chunk(Job(case=made, plan=plan, seed=5, planner="ring"), 0, 6)
    for row in rows:
        one = fly_plan(made, plan, seed=5, sample=int(row["sample"]), reference=False)
        (nearest,) = one.approaches
        assert one.arcs[nearest.arc].burn == burn.burn
        assert row["closest_1_m"] == pytest.approx(nearest.distance_m, abs=1.0)
        assert nearest.distance_m < 35e3


def thrust_of(arc: Arc) -> Thrust:
    """What a burn was flown with."""
    assert arc.steering is not None
    assert arc.direction is not None
    return Thrust(
        thrust_n=arc.thrust_n, isp_s=arc.isp_s, steering=arc.steering, direction=arc.direction
    )


def positions(one: Flight, propagator: Propagator) -> tuple[np.ndarray, np.ndarray]:
    """Times every 10 s or less, and the craft there, arc by arc."""
    times, places = [], []
    for arc in one.arcs:
        state = np.concatenate([arc.start.position_m, arc.start.velocity_m_s, [arc.start.mass_kg]])
        grid = np.linspace(arc.start_s, arc.end_s, int((arc.end_s - arc.start_s) / 10) + 3)[:-1]
        if arc.kind == "coast":
            rows = propagator.sample(arc.start_s, state, grid)
        else:
            thrust = thrust_of(arc)
            rows = np.array([propagator.advance(arc.start_s, state, t, thrust).state for t in grid])
        times.append(grid)
        places.append(rows[:, :3])
    return np.concatenate(times), np.concatenate(places)


def test_the_spread_is_that_of_a_dense_sampling() -> None:
    """A sample's distances against looks every 10 s at its arcs, by the propagator alone."""
    made, plan = relay()
    rows = fly_chunk(Job(case=made, plan=plan, seed=5, planner="ring"), 0, 3)
    propagator = fast_propagator(gravity_of(made))
    members = member_states(made, resolve_ring(made.ring, propagator), propagator)
    for row in rows:
        one = fly_plan(made, plan, seed=5, sample=int(row["sample"]), reference=False)
        times, craft = positions(one, propagator)
        for k, member in enumerate(members, start=1):
            away = np.linalg.norm(craft - propagator.sample(0.0, member, times)[:, :3], axis=1)
            # Looks 10 s apart pass a minimum by 5 s: (5 s * 5 km/s)^2 / 2 d at most.
            least = away.min()
            assert least - (5 * 5e3) ** 2 / least - 1.0 < row[f"closest_{k}_m"] < least + 1.0
