"""The sky of a case: the fit of its segments, mean tides, third bodies of its own, longer spans."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from simcheck.bodies import built_in
from simcheck.errors import InputError
from simcheck.files.ephemeris import (
    BEFORE_S,
    built_in_perturbers,
    extended,
    own_perturber,
    sky_of,
    track_of,
    with_sun,
)
from simcheck.files.epochs import DAY_S, read_date
from simcheck.files.perturbers import KNOWN_FROM
from simcheck.kernels.chebyshev import positions
from simcheck.kernels.elements import state_from_classical
from simcheck.kernels.kepler import propagate
from simcheck.kernels.vectors import norm, unit
from simcheck.records.case import Case
from simcheck.records.sky import ThirdBody
from tests.cases_for_tests import load, toml
from tests.helpers import assert_metres

EPOCH = read_date("2031-04-12T06:00:00")
YEAR_S = 365.25 * DAY_S


# ---------------------------------------------------------------- segments


@pytest.mark.parametrize("name", KNOWN_FROM)
def test_segments_keep_to_the_motion(name: str) -> None:
    """Within a metre at any time of the span: the theories themselves are good to kilometres."""
    found = built_in_perturbers(built_in(name), EPOCH)
    random = np.random.default_rng(3)
    for body in found:
        track = track_of(body, YEAR_S)
        assert track.start_s <= -BEFORE_S
        assert YEAR_S <= track.end_s < YEAR_S + track.step_s
        times = random.uniform(track.start_s, track.end_s, 2000)
        got = positions(track.start_s, track.step_s, track.coefficients_m, times)
        assert_metres(got, body.position(times), within=1.0)


@pytest.mark.parametrize("name", KNOWN_FROM)
def test_segments_join(name: str) -> None:
    """The end of one is the beginning of the next, to the rounding of 1e12 m."""
    for body in built_in_perturbers(built_in(name), EPOCH):
        coefficients = track_of(body, 0.2 * YEAR_S).coefficients_m
        signs = (-1.0) ** np.arange(coefficients.shape[1])
        starts = np.einsum("skc,k->sc", coefficients, signs)
        assert_metres(starts[1:], coefficients.sum(axis=1)[:-1], within=5e-3)


def orbit(**changes: float) -> ThirdBody:
    """An invented third body."""
    values = {
        "gm_m3_s2": 2e13,
        "semi_major_axis_m": 3e8,
        "eccentricity": 0.3,
        "inclination_rad": 0.4,
        "raan_rad": 1.0,
        "argp_rad": 2.0,
        "true_anomaly_rad": 3.0,
        "period_s": 20.0 * DAY_S,
    }
    return ThirdBody(name="Invented", **(values | changes))


@pytest.mark.parametrize("e", [0.0, 0.3, 0.6, 0.89])
def test_a_third_body_of_the_cases_own(e: float) -> None:
    """On its Kepler orbit with the period given, whatever its gm; within a metre of it."""
    third = orbit(eccentricity=e)
    gm = (2 * math.pi / third.period_s) ** 2 * third.semi_major_axis_m**3
    angles = (third.inclination_rad, third.raan_rad, third.argp_rad, third.true_anomaly_rad)
    start = state_from_classical(third.semi_major_axis_m * (1 - e * e), e, *angles, gm)
    track = track_of(own_perturber(third), 50.0 * DAY_S)
    times = np.random.default_rng(5).uniform(track.start_s, track.end_s, 3000)
    got = positions(track.start_s, track.step_s, track.coefficients_m, times)
    assert_metres(got, propagate(*start, times, gm)[0], within=1.0)
    assert track.step_s <= third.period_s / 24.0 * (1.0 - e) ** 1.5


@pytest.mark.reference("mean of a/r cubed on an ellipse: (1 - e^2)^-1.5, the same in both axes")
@pytest.mark.parametrize("e", [0.0, 0.3, 0.6])
def test_mean_tide_of_an_ellipse(e: float) -> None:
    """gm / (2 a^3 (1 - e^2)^1.5) outward in the plane and twice that inward across it."""
    third = orbit(eccentricity=e)
    gm, a, i, raan = (
        third.gm_m3_s2,
        third.semi_major_axis_m,
        third.inclination_rad,
        third.raan_rad,
    )
    normal = np.array([math.sin(i) * math.sin(raan), -math.sin(i) * math.cos(raan), math.cos(i)])
    size = gm / (2.0 * a**3 * (1.0 - e * e) ** 1.5)
    expected = size * (np.eye(3) - 3.0 * np.outer(normal, normal))
    got = track_of(own_perturber(third), DAY_S).mean_tide_s2
    assert np.allclose(got, expected, rtol=0.0, atol=1e-9 * size)


@pytest.mark.parametrize("name", ["Earth", "Moon", "Mars"])
def test_mean_tide_is_that_of_many_years(name: str) -> None:
    """Against a plain mean over 19 to 38 years: within 1 % for the Sun, of the largest entry.

    The Moon's plane and the Moon's pole turn in 18.6 years: there only the trace and the size hold.
    """
    for body in built_in_perturbers(built_in(name), EPOCH):
        got = track_of(body, DAY_S).mean_tide_s2
        times = np.linspace(-9.3 * 365.25 * DAY_S, 9.3 * 365.25 * DAY_S, 20001)
        if name == "Mars":
            times = times * 20 * 686.98 / (2 * 9.3 * 365.25)
        places = body.position(times)
        d, u = norm(places), unit(places)
        mean = np.einsum("n,ni,nj->ij", 3.0 / d**3, u, u) - np.eye(3) * np.sum(d**-3)
        mean *= body.gm_m3_s2 / len(times)
        assert abs(np.trace(got)) < 1e-12 * np.abs(got).max()
        if body.name == "Sun" and name != "Moon":
            assert np.abs(got - mean).max() < 0.01 * np.abs(mean).max()
        own, long = (np.linalg.eigvalsh(each)[0] for each in (got, mean))
        assert own == pytest.approx(long, rel=0.03)


def test_only_what_is_wanted_is_in_the_sky() -> None:
    """Bodies that pull, the Sun as the same object among them; or the Sun alone."""
    bodies = built_in_perturbers(built_in("Moon"), EPOCH)
    sky = sky_of(bodies, DAY_S, pulling=True)
    assert [track.name for track in sky.pulling] == ["Earth", "Sun"]
    assert sky.sun is sky.pulling[1]
    alone = sky_of(bodies, DAY_S, pulling=False)
    assert alone.pulling == ()
    assert alone.sun is not None


# ---------------------------------------------------------------- longer, and with the Sun


def sunny(tmp_path: Path, forces: str, epoch: str = "2031-04-12T06:00:00") -> Case:
    """A case about Mars with an epoch."""
    text = toml().replace("forces = []", f"forces = {forces}")
    head = 'title = "invented for a test"'
    return load(text.replace(head, f'{head}\nepoch = "{epoch}"'), tmp_path)


def test_a_longer_sky_is_the_same_where_it_was(tmp_path: Path) -> None:
    """Beyond its end it goes on; before, no bit changes; a shorter one changes nothing."""
    case = sunny(tmp_path, '["third-bodies"]')
    assert case.sky is not None
    end = case.sky.pulling[0].end_s
    longer = extended(case, end + YEAR_S)
    assert longer.sky is not None
    before, after = case.sky.pulling[0], longer.sky.pulling[0]
    assert longer.sky.sun is after
    assert after.end_s >= end + YEAR_S
    count = len(before.coefficients_m)
    assert np.array_equal(after.coefficients_m[:count], before.coefficients_m)
    assert np.array_equal(after.mean_tide_s2, before.mean_tide_s2)
    assert extended(case, 1.0) is case


def test_a_longer_sky_of_the_cases_own(tmp_path: Path) -> None:
    """A third body of the file goes on along its orbit."""
    text = toml().replace("forces = []", 'forces = ["third-bodies"]')
    third = '[[third_body]]\nname = "X"\ngm = "1e4 km3/s2"\nsemi_major_axis = "3e5 km"\n'
    case = load(text + third, tmp_path)
    longer = extended(case, 6.0 * YEAR_S)
    assert case.sky is not None
    assert longer.sky is not None
    before, after = case.sky.pulling[0], longer.sky.pulling[0]
    assert after.end_s >= 6.0 * YEAR_S > before.end_s
    assert np.array_equal(after.coefficients_m[: len(before.coefficients_m)], before.coefficients_m)
    with pytest.raises(InputError, match="without an epoch"):
        extended(dataclasses.replace(case, sky=case.sky.seen_from(1.0)), 6.0 * YEAR_S)


def test_the_sun_for_a_case_whose_forces_need_none(tmp_path: Path) -> None:
    """Added where the body is built in and has an epoch, else the case stays what it is."""
    case = sunny(tmp_path, "[]")
    assert case.sky is None
    with_one = with_sun(case, YEAR_S)
    assert with_one.sky is not None
    assert with_one.sky.sun is not None
    assert with_one.sky.pulling == ()
    plain = load(toml(), tmp_path)
    assert with_sun(plain, YEAR_S) is plain
    ceres = dataclasses.replace(case, body=built_in("Ceres"))
    assert with_sun(ceres, YEAR_S) is ceres


def test_beyond_the_ephemerides(tmp_path: Path) -> None:
    """1900 to 2100 and no further, said with the range."""
    late = sunny(tmp_path, '["third-bodies"]', "2099-06-01T00:00:00")
    assert late.sky is not None
    assert late.sky.pulling[0].end_s < 0.7 * YEAR_S  # cut at the end of 2099
    for asked in (
        lambda: extended(late, YEAR_S),
        lambda: with_sun(sunny(tmp_path, "[]"), 80 * YEAR_S),
    ):
        with pytest.raises(InputError, match="known from 1900 to 2100 only"):
            asked()
