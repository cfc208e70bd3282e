"""Sets of small burns: what each mends by the linear theory, and what the trade says it costs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.near_circular import responses
from simcheck.kernels.vectors import TAU
from simcheck.planning.trim_sets import LEAD, MENDS, MOST, WAITS, Sets, sets_of
from tests.helpers import assert_relative

WEIGHTS = (100.0, 9000.0, 500.0, 500.0, 600.0, 600.0)
"""One over tolerances as cases have them: 0.5 deg, 5 s of 12 h, 0.002, 0.1 deg."""

FLAT, E, ALL = range(3)
GEO_RATE = 7.2921159e-5  # rad/s
GEO_SPEED = 3074.66  # m/s: (398600.4418 km3/s2 x rate)^(1/3)


def sets(burns: int) -> Sets:
    return sets_of(burns, WEIGHTS)


def wait_of(made: Sets) -> np.ndarray:
    """The wait of each set (s,)."""
    found = np.zeros(len(made.ends))
    for wait, part in zip(WAITS, made.parts, strict=True):
        found[part] = wait
    return found


def errors(**given: float) -> np.ndarray:
    """One row of six errors, zero where not named."""
    names = ("phase", "period", "k", "h", "x", "y")
    return np.array([[given.get(name, 0.0) for name in names]])


def left_by_theory(made: Sets, wanted: np.ndarray, dv: np.ndarray) -> np.ndarray:
    """What burns (p, s, 3) leave of one row of errors, (s, 6), straight from `responses`."""
    left = np.tile(wanted[0], (len(made.ends), 1))
    left[:, 0] -= wanted[0, 1] * made.ends
    for place, burn in zip(made.places, dv, strict=True):
        left += np.einsum("smk,sk->sm", responses(place, made.ends - place), burn)
    return left


@pytest.mark.parametrize("burns", [1, 2, 3])
def test_places_are_in_order_and_within_their_wait(burns: int) -> None:
    """The first after the lead in the first revolution, the last in the wait's last; no set twice.

    A single burn may be anywhere in its wait that no shorter one reaches.
    """
    made, wait = sets(burns), wait_of(sets(burns))
    assert (made.places[0] >= TAU * LEAD - 1e-12).all()
    assert (made.ends == made.places[-1]).all()
    assert (np.diff(made.places, axis=0) > TAU / 20).all()
    assert (made.ends < TAU * (LEAD + wait)).all()
    if burns > 1:
        assert (made.ends >= TAU * (LEAD + wait - 1) - 1e-9).all()
        assert (made.places[0] < TAU * (LEAD + 1)).all()
    assert len(np.unique(np.round(made.places, 9), axis=1).T) == len(made.ends)
    assert made.parts[0].start == 0
    assert made.parts[-1].stop == len(made.ends)


@pytest.mark.parametrize("burns", [1, 2, 3])
@pytest.mark.parametrize("mend", range(3))
def test_what_is_left_is_what_the_theory_says(burns: int, mend: int) -> None:
    """Burns made by `mended` and `straightened` leave, by `responses`, what these say they leave.

    Rounding alone tells them apart: 1e-13 of a phase drifting for 50 revolutions.
    """
    made = sets(burns)
    wanted = np.random.default_rng(burns).normal(size=(1, 6)) * 0.01
    along, left = made.mended(mend, wanted)
    across, tilt = made.straightened(wanted)
    dv = np.stack([np.zeros_like(along[:, 0]), along[:, 0], across[:, 0]], axis=-1)
    expected = left_by_theory(made, wanted, dv)
    size = 1e-11 * (0.01 + np.abs(dv).sum(axis=(0, 2)) * (1 + made.ends))
    assert (np.abs(left[:, 0].T - expected[:, :4]) < size[:, None]).all()
    assert (np.abs(tilt[:, 0].T - expected[:, 4:]) < size[:, None]).all()


@pytest.mark.parametrize(
    ("burns", "mend", "zero"),
    [(2, FLAT, (0, 1)), (2, E, (2, 3)), (3, FLAT, (0, 1)), (3, E, (2, 3))],
)
def test_what_a_set_mends_is_gone(burns: int, mend: int, zero: tuple[int, ...]) -> None:
    """Two rows by two burns or more: nothing is left of them, where the burns can reach them.

    Two burns half a revolution or a whole one apart mend one component of e alone. A trace of 1e-12
    of their size that keeps the least squares solvable leaves 1e-8 of the error.
    """
    made = sets(burns)
    wanted = np.array([[0.02, 1e-3, 2e-3, -3e-3, 0.0, 0.0]])
    _, left = made.mended(mend, wanted)
    apart = np.abs(np.sin(made.places[1] - made.places[0]))
    reach = np.ones(len(made.ends), dtype=bool)
    if mend == E:
        reach = apart > 0.1
        if burns == 3:
            reach |= np.abs(np.sin(made.places[2] - made.places[0])) > 0.1
    assert np.abs(left[list(zero), 0][:, reach]).max() < 1e-6
    assert reach.sum() > 0.7 * len(reach)
    assert MENDS[mend] == zero


@pytest.mark.parametrize("errors_of", [(0.01, 1e-3, 0, 0), (0, 0, 1e-3, 2e-3), (0.01, 0, 1e-3, 0)])
def test_all_at_once_is_the_least_squares(errors_of: tuple[float, ...]) -> None:
    """With fewer burns than errors, what is left has the least weighted squares that there are."""
    made, wanted = sets(3), np.array([[*errors_of, 0.0, 0.0]])
    _, left = made.mended(ALL, wanted)
    some = np.random.default_rng(5).choice(len(made.ends), 40, replace=False)
    for s in some:
        matrix = np.array(WEIGHTS[:4])[:, None] * made.after[:, :, s]
        now = wanted[0, :4].copy()
        now[0] -= now[1] * made.ends[s]
        best, *_ = np.linalg.lstsq(matrix, -np.array(WEIGHTS[:4]) * now, rcond=None)
        size = np.sqrt(np.sum((matrix @ best + np.array(WEIGHTS[:4]) * now) ** 2))
        mine = np.sqrt(np.sum((np.array(WEIGHTS[:4]) * left[:, 0, s]) ** 2))
        assert mine <= size * (1 + 1e-6) + 1e-6


@pytest.mark.reference("D'Amico, Montenbruck (2006), JGCD 29(3): pair costs v de / 2 (memory)")
def test_published_tangential_pair() -> None:
    """An eccentricity is undone for v de / 2 by two burns along the motion half a revolution apart.

    Equal and opposite, so that the period is as it was; the radial pair would take twice that. The
    trace that keeps singular squares solvable, 1e-12, meets rounding of 1e-16: 1e-4 of a burn.
    """
    made, part = sets(2), sets(2).parts[0]
    opposite = np.isclose(made.places[1, part] - made.places[0, part], TAU / 2)
    for place in made.places[0, part][opposite]:
        wanted = errors(k=0.01 * np.cos(place), h=0.01 * np.sin(place))
        along, left = made.mended(E, wanted)
        s = np.flatnonzero(opposite & (made.places[0, part] == place))[0]
        assert_relative(np.abs(along[:, 0, s]).sum(), 0.01 / 2, 1e-9)
        assert_relative(along[0, 0, s], -along[1, 0, s], 1e-4)
        assert np.abs(left[1:, 0, s]).max() < 1e-4 * 0.01
    assert opposite.sum() == 6


@pytest.mark.reference("operators' rule: 5.7 m/s start and stop 1 deg/day at GEO (from memory)")
def test_published_drift_start_and_stop() -> None:
    """To drift by 10 deg in ten days and stop there takes 2.84 m/s at either end.

    Over ten revolutions of the grid the burns are some 9 to 11 revolutions apart: the Δv goes with
    one over that, and the longest is the cheapest, within the place left before the wait's end.
    """
    made = sets(2)
    part = made.parts[WAITS.index(10)]
    along, left = made.mended(FLAT, errors(phase=np.radians(-10.0)))
    assert np.abs(left[:2, 0, part]).max() < 1e-6
    days = (made.places[1] - made.places[0])[part] / GEO_RATE / 86400.0
    each = GEO_SPEED * along[:, 0, part]
    rate = 10.0 / days  # deg a day
    # 5.678 m/s for 1 deg a solar day, start and stop, of 3074.66 m/s: v dn / (3 n), twice.
    assert_relative(np.abs(each).sum(axis=0), 5.678 * rate, 1e-3)
    assert (each[0] < 0).all()  # ahead by way of a lower, faster orbit
    assert (each[1] > 0).all()


def test_ten_times_as_long_is_ten_times_cheaper() -> None:
    """A phase costs 2 v phi / (3 x 2 pi) over the revolutions between the burns: out and back."""
    made = sets(2)
    along, _ = made.mended(FLAT, errors(phase=0.05))
    cost = np.abs(along[:, 0]).sum(axis=0)
    turns = (made.places[1] - made.places[0]) / TAU
    assert_relative(cost * turns, 2 * 0.05 / (3 * TAU), 1e-6)
    assert turns.max() / turns.min() > 500


def test_a_tilt_is_turned_back_for_its_angle() -> None:
    """One burn at the node, v times the tilt; the grid of 16 places is at most 11 deg from it."""
    made, part = sets(1), slice(0, 16)
    for angle in np.radians([0.0, 5.0, 40.0, 100.0]):
        across, left = made.straightened(errors(x=0.01 * np.cos(angle), y=0.01 * np.sin(angle)))
        size, rest = np.abs(across[0, 0, part]), np.hypot(*left[:, 0, part])
        best = int(np.argmin(rest))
        assert rest[best] < 0.01 * np.sin(np.radians(11.3))
        assert 0.98 * 0.01 < size[best] <= 0.01 * (1 + 1e-9)


@given(turns=st.integers(-3, 60))
def test_within_keeps_the_waits_that_fit(turns: int) -> None:
    """Only sets of waits no longer than the time there is, the others cut off at the end."""
    made, waits = sets(2), wait_of(sets(2))
    some = made.within(float(turns))
    fits = waits <= turns
    assert len(some.ends) == fits.sum()
    assert some.places.tobytes() == made.places[:, fits].tobytes()
    assert len(some.parts) == sum(w <= turns for w in WAITS)
    along, left = some.mended(ALL, errors(phase=0.1))
    assert along.shape == (2, 1, fits.sum())
    assert left.shape == (4, 1, fits.sum())


def test_what_is_not_judged_is_not_mended() -> None:
    """With a weight of zero an error moves no burn."""
    free = sets_of(2, (0.0, 9000.0, 500.0, 500.0, 0.0, 0.0))
    assert (free.mended(FLAT, errors(phase=0.3))[0] == 0).all()
    assert (free.straightened(errors(x=0.1, y=0.1))[0] == 0).all()
    assert np.isfinite(free.along).all()
    assert (free.mended(FLAT, errors(period=1e-3))[0] != 0).any()


@pytest.mark.parametrize("burns", range(1, MOST + 1))
def test_a_lane_is_the_same_alone_and_in_any_company(burns: int) -> None:
    """Burns for one lane's errors, and what they leave, do not depend on the others, to the bit."""
    made, many = sets(burns), np.random.default_rng(1).normal(size=(9, 6)) * 0.01
    for mend in range(3):
        whole = made.mended(mend, many)
        for k in (0, 4, 8):
            one = made.mended(mend, many[k : k + 1])
            assert [x[:, 0].tobytes() for x in one] == [x[:, k].tobytes() for x in whole]
    whole = made.straightened(many)
    one = made.straightened(many[3:4])
    assert [x[:, 0].tobytes() for x in one] == [x[:, 3].tobytes() for x in whole]
