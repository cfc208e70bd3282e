"""Lambert's problem against published arcs, a library's table, and its own flight."""

import json
from pathlib import Path

import numpy as np
import pytest

from simcheck.kernels.kepler import propagate
from simcheck.kernels.lambert import lambert
from simcheck.kernels.vectors import cross, norm

POLE = np.array([0.0, 0.0, 1.0])
FILE = Path(__file__).parents[1] / "reference" / "poliastro_0_17_0.json"
TABLE = json.loads(FILE.read_text(encoding="utf-8"))


@pytest.mark.reference("Vallado Ex. 7-5, as in Orekit's LambertSolverTest")
def test_vallado_7_5():
    """76 minutes, the short way; km and km/s."""
    start, end = np.array([15945.34, 0, 0]), np.array([12214.83399, 10249.46731, 0])
    v1, v2 = lambert(start, end, 76 * 60.0, POLE, 398600.4418)
    np.testing.assert_allclose(v1, [2.058913, 2.915965, 0], atol=5e-7)
    np.testing.assert_allclose(v2, [-3.451565, 0.910315, 0], atol=2e-6)  # printed to 6 digits


@pytest.mark.reference("Curtis Ex. 5.3, with poliastro's note on the sign in the book")
def test_curtis_5_3_is_hyperbolic():
    """13.5 hours; km and km/s."""
    start, end = np.array([273378.0, 0, 0]), np.array([145820.0, 12758.0, 0])
    v1, _ = lambert(start, end, 13.5 * 3600, POLE, 398600.0)
    np.testing.assert_allclose(v1, [-2.4356, 0.26741, 0], atol=1e-4)  # five digits, cut off


@pytest.mark.reference("Battin Ex. 7-12, as in Orekit's LambertSolverTest")
def test_battin_7_12():
    """The first velocity in AU/yr; the last digits carry the rounding of the end's position."""
    au, year = 149597870.691, 365.25 * 86400
    start = np.array([0.159321004, 0.579266185, 0.052359607]) * au
    end = np.array([0.0575943377, 0.605750797, 0.068345246]) * au
    v1, _ = lambert(start, end, 0.010794065 * year, POLE, 1.32712440018e11)
    expected = np.array([-9.303603251, 3.018641330, 1.5363621434]) * au / year
    np.testing.assert_allclose(v1, expected, atol=1e-3)  # 1 m/s, as Orekit allows


@pytest.mark.reference("poliastro 0.17.0, by tests/reference/poliastro_table.py")
@pytest.mark.parametrize("row", TABLE["lambert"], ids=lambda r: f"{r['body']}-{r['revolutions']}")
def test_table(row):
    """The table's prograde arcs, several revolutions and both periods among them."""
    gm = TABLE["bodies"][row["body"]]["gm"]
    start, end = np.array(row["start"]), np.array(row["end"])
    found = [
        lambert(
            start, end, row["duration"], POLE, gm, revolutions=row["revolutions"], long_period=long
        )
        for long in (True, False)
    ]
    speed = norm(np.array(row["start_velocity"]))
    misses = [
        max(norm(v1 - row["start_velocity"]), norm(v2 - row["end_velocity"])) for v1, v2 in found
    ]
    assert np.nanmin(misses) < 1e-8 * speed  # poliastro's own iteration stops at 1e-8


@pytest.mark.parametrize("revolutions", range(6))
@pytest.mark.parametrize("long_period", [True, False])
def test_arcs_arrive(revolutions, long_period):
    """Flown for the time, each arc found ends where it should; the sense of motion is kept."""
    stream = np.random.default_rng(4)
    start, end = stream.normal(size=(2, 4000, 3))
    duration = 10 ** stream.uniform(0.3, 2.0, 4000)
    v1, v2 = lambert(
        start, end, duration, POLE, 1.0, revolutions=revolutions, long_period=long_period
    )
    known = np.isfinite(v1[:, 0])
    assert known.sum() > 400
    there, then = propagate(start[known], v1[known], duration[known], 1.0)
    flown = np.isfinite(there[:, 0])
    assert flown.mean() > 0.999  # hyperbolas from far out, whose anomaly does not converge
    assert np.max(norm(there - end[known])[flown]) < 1e-6
    assert np.max(norm(then - v2[known])[flown]) < 1e-5
    assert np.all(cross(start, v1)[known][:, 2] > 0)


def test_in_line_has_no_plane():
    """Start and end in line with the body give NaN, not a wrong plane."""
    v1, _ = lambert(np.array([1.0, 0, 0]), np.array([-2.0, 0, 0]), 4.0, POLE, 1.0)
    assert np.all(np.isnan(v1))


def test_long_and_short_period_differ():
    """With whole revolutions the two conics have different axes, the long period the larger."""
    start, end = np.array([1.0, 0, 0]), np.array([0.3, 1.1, 0.2])
    sizes = []
    for long_period in (True, False):
        v1, _ = lambert(start, end, 20.0, POLE, 1.0, revolutions=2, long_period=long_period)
        sizes.append(1 / (2 - v1 @ v1))
    assert sizes[0] > sizes[1] * 1.01
