"""Kernels against the stored table of poliastro 0.17.0's answers."""

import json
from pathlib import Path

import numpy as np
import pytest

from simcheck.kernels.elements import classical_from_state, state_from_classical
from simcheck.kernels.kepler import propagate
from simcheck.kernels.perturbations import zonal_acceleration
from tests.helpers import assert_radians, assert_relative, assert_vectors

SOURCE = "poliastro 0.17.0, by tests/reference/poliastro_table.py"
FILE = Path(__file__).parents[1] / "reference" / "poliastro_0_17_0.json"
TABLE = json.loads(FILE.read_text(encoding="utf-8"))

pytestmark = pytest.mark.reference(SOURCE)


def rows(name):
    """The rows of one part of the table, as test parameters."""
    named = enumerate(TABLE[name])
    return [pytest.param(row, id=f"{row['body']}-{number}") for number, row in named]


def body(row):
    """Constants of the row's body."""
    return TABLE["bodies"][row["body"]]


def test_table_says_what_made_it():
    """The header names the library's version and the units."""
    assert TABLE["header"]["poliastro"] == "0.17.0"
    assert TABLE["header"]["units"].startswith("m, m/s, m/s2, s, rad")
    assert len(TABLE["orbits"]) >= 24


@pytest.mark.parametrize("row", rows("orbits"))
def test_elements(row):
    """Elements give the table's state and the state gives the elements."""
    gm, elements = body(row)["gm"], row["elements"]
    position, velocity = state_from_classical(**elements, gm=gm)
    assert_vectors(position, row["position"], within=1e-14)
    assert_vectors(velocity, row["velocity"], within=1e-14)
    found = classical_from_state(np.array(row["position"]), np.array(row["velocity"]), gm)
    assert_relative(found.p, elements["p"], within=1e-14)
    assert found.e == pytest.approx(elements["e"], abs=1e-14)
    for name in ("i", "raan", "argp", "nu"):
        # The smallest e is 5e-4, the smallest inclination 9e-3.
        assert_radians(getattr(found, name), elements[name], within=5e-12)


@pytest.mark.parametrize("row", rows("orbits"))
def test_propagation(row):
    """States before, within and 12 revolutions after the epoch are the table's.

    poliastro goes through the anomalies, whose roundings are magnified by 1/e and, on the
    hyperbolas that end 100 radii out, by the distance.
    """
    gm = body(row)["gm"]
    for later in row["later"]:
        position, velocity = propagate(
            np.array(row["position"]), np.array(row["velocity"]), later["duration"], gm
        )
        assert_vectors(position, later["position"], within=1e-11)
        assert_vectors(velocity, later["velocity"], within=1e-11)


@pytest.mark.parametrize("row", rows("lambert"))
def test_lambert_arcs_arrive(row):
    """The table's Lambert arcs, flown, arrive at their far end with the table's velocity.

    Its solver stops at a relative 1e-12.
    """
    position, velocity = propagate(
        np.array(row["start"]), np.array(row["start_velocity"]), row["duration"], body(row)["gm"]
    )
    assert_vectors(position, row["end"], within=1e-10)
    assert_vectors(velocity, row["end_velocity"], within=1e-10)


@pytest.mark.parametrize("row", rows("hohmann"))
def test_hohmann_transfers_arrive(row):
    """The first impulse, flown for the table's time, reaches the far circle on the other side,
    and the second one makes it round."""
    fly_half_ellipses(row["radii"], row["dv"], row["duration"], body(row)["gm"])


@pytest.mark.parametrize("row", rows("bielliptic"))
def test_bielliptic_transfers_arrive(row):
    """The three impulses lead over the far point to the last circle."""
    fly_half_ellipses(row["radii"], row["dv"], row["duration"], body(row)["gm"])


def fly_half_ellipses(radii, impulses, duration, gm):
    """From circle to circle over half ellipses, each impulse moving the opposite apsis."""
    position = np.array([radii[0], 0.0, 0.0])
    velocity = np.array([0.0, np.sqrt(gm / radii[0]), 0.0])
    left, opposite = duration, radii[0]
    for here, there, impulse in zip(radii[:-1], radii[1:], impulses[:-1], strict=True):
        velocity = velocity * (1 + np.sign(there - opposite) * impulse / np.linalg.norm(velocity))
        half = np.pi * np.sqrt(((here + there) / 2) ** 3 / gm)
        position, velocity = propagate(position, velocity, half, gm)
        assert np.linalg.norm(position) == pytest.approx(there, rel=1e-12)
        left, opposite = left - half, here
    assert abs(left) <= 1e-12 * duration
    circular = np.sqrt(gm / radii[-1])
    assert abs(np.linalg.norm(velocity) - circular) == pytest.approx(impulses[-1], rel=1e-10)


@pytest.mark.parametrize("row", rows("zonal"))
def test_zonal_accelerations(row):
    """Accelerations by J2 alone and by J3 alone are the table's."""
    about, position = body(row), np.array(row["position"])
    by_j2 = zonal_acceleration(position, about["gm"], about["radius"], about["j2"])
    assert_vectors(by_j2, row["j2"], within=1e-14)
    by_j3 = zonal_acceleration(position, about["gm"], about["radius"], 0.0, about["j3"])
    assert_vectors(by_j3, row["j3"], within=1e-14)
