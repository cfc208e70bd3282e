"""Vectors, angles and local frames."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.kernels.vectors import (
    TAU,
    angle_between,
    cross,
    dot,
    norm,
    rotation,
    rsw_frame,
    tnw_frame,
    turn_about,
    unit,
    wrap,
)
from tests.helpers import assert_radians, assert_relative, assert_vectors
from tests.strategies import Orbit, angles, orbits

# A handful of roundings in products of unit vectors.
ROUNDING = 1e-15

components = st.floats(-1e8, 1e8, allow_subnormal=False)
vectors = st.tuples(components, components, components).map(np.array)
long_vectors = vectors.filter(lambda v: np.abs(v).max() > 1e-3)


@given(vectors, vectors)
def test_dot_is_the_scalar_product(a, b):
    """The scalar product is numpy's, to the rounding of its terms."""
    assert abs(dot(a, b) - np.dot(a, b)) <= 4e-16 * np.dot(np.abs(a), np.abs(b))


@given(vectors, vectors)
def test_cross_is_the_vector_product(a, b):
    """The vector product is numpy's, to the rounding of its terms, and turns with a right hand."""
    terms = np.linalg.norm(a) * np.linalg.norm(b)
    assert norm(cross(a, b) - np.cross(a, b)) <= 1e-15 * terms
    assert cross(np.eye(3)[0], np.eye(3)[1]).tolist() == [0.0, 0.0, 1.0]


def test_products_do_not_depend_on_the_memory_layout():
    """A row alone, in a batch and in a column-major batch give the same bits."""
    rng = np.random.default_rng(20310412)
    a, b = rng.normal(size=(2, 200, 3))
    alone = np.array([dot(x, y) for x, y in zip(a, b, strict=True)])
    assert np.array_equal(dot(a, b), alone)
    assert np.array_equal(dot(np.asfortranarray(a), np.asfortranarray(b)), alone)
    alone = np.array([cross(x, y) for x, y in zip(a, b, strict=True)])
    assert np.array_equal(cross(a, b), alone)
    assert np.array_equal(cross(np.asfortranarray(a), np.asfortranarray(b)), alone)


@given(long_vectors)
def test_unit_has_length_one(a):
    """A unit vector has length one and its vector's direction."""
    assert_relative(norm(unit(a)), 1.0, within=ROUNDING)
    assert_vectors(unit(a) * norm(a), a, within=ROUNDING)


def test_unit_of_zero_is_nan():
    """No direction is made up for a zero vector, and its neighbours are untouched."""
    rows = unit(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, -2.0]]))
    assert np.isnan(rows[0]).all()
    assert rows[1].tolist() == [0.0, 0.0, -1.0]


@given(st.floats(-1e4, 1e4, allow_subnormal=False))
def test_wrap_keeps_the_angle(angle):
    """A wrapped angle lies in (-pi, pi] and is the same angle."""
    assert -np.pi < wrap(angle) <= np.pi
    assert_radians(wrap(angle), angle, within=4e-16 * (abs(angle) + TAU))


def test_wrap_at_the_seam():
    """Half a turn stays positive from either side."""
    assert wrap([np.pi, -np.pi, 0.0]).tolist() == [np.pi, np.pi, 0.0]


@pytest.mark.parametrize("angle", [0.0, 1e-12, 1e-5, 1.0, np.pi / 2, np.pi - 1e-9, np.pi])
def test_angle_between_is_exact_at_both_ends(angle):
    """Angles near 0 and pi, where an arc cosine loses half the digits, come out to a rounding."""
    a = np.array([2.0, 0.0, 0.0])
    b = 3.0 * np.array([np.cos(angle), np.sin(angle), 0.0])
    assert angle_between(a, b) == pytest.approx(angle, rel=4e-16, abs=2e-16)


@given(st.sampled_from([0, 1, 2]), angles(), long_vectors)
def test_rotation_turns_about_its_axis(axis, angle, vector):
    """The matrix and Rodrigues' formula turn a vector alike; the axis itself stays."""
    along = np.eye(3)[axis]
    turned = rotation(axis, angle) @ vector
    assert_vectors(turned, turn_about(vector, along, angle), within=ROUNDING)
    assert np.array_equal(rotation(axis, angle) @ along, along)


def test_rotation_is_right_handed():
    """A quarter turn about each axis takes the next axis to the one after."""
    for axis in range(3):
        turned = rotation(axis, np.pi / 2) @ np.eye(3)[(axis + 1) % 3]
        assert np.allclose(turned, np.eye(3)[(axis + 2) % 3], rtol=0, atol=ROUNDING)


def test_rotation_takes_many_angles():
    """Leading axes of the angle lead the matrices."""
    many = rotation(1, np.array([[0.1, 0.2], [0.3, 0.4]]))
    assert many.shape == (2, 2, 3, 3)
    assert np.array_equal(many[1, 0], rotation(1, 0.3))


@pytest.mark.parametrize("frame", [rsw_frame, tnw_frame])
@given(orbit=orbits(), vector=long_vectors)
def test_local_frames_are_right_handed_and_orthonormal(frame, orbit: Orbit, vector):
    """The axes form a right-handed orthonormal set, and a vector comes back from the frame."""
    axes = frame(*orbit.state)
    assert np.allclose(axes @ axes.T, np.eye(3), rtol=0, atol=2 * ROUNDING)
    assert np.linalg.det(axes) == pytest.approx(1.0, abs=4 * ROUNDING)
    assert_vectors(axes.T @ (axes @ vector), vector, within=4 * ROUNDING)


@given(orbits())
def test_rsw_axes(orbit: Orbit):
    """R points up, W along the angular momentum, and the craft moves towards +S."""
    position, velocity = orbit.state
    axes = rsw_frame(position, velocity)
    assert_vectors(axes @ position, [norm(position), 0.0, 0.0], within=2 * ROUNDING)
    momentum = np.cross(position, velocity)
    assert_vectors(axes @ momentum, [0.0, 0.0, norm(momentum)], within=2 * ROUNDING)
    assert (axes @ velocity)[1] > 0.0


@given(orbits())
def test_tnw_axes(orbit: Orbit):
    """T points along the velocity, W along the angular momentum, N to the body's side of T."""
    position, velocity = orbit.state
    axes = tnw_frame(position, velocity)
    assert_vectors(axes @ velocity, [norm(velocity), 0.0, 0.0], within=2 * ROUNDING)
    momentum = np.cross(position, velocity)
    assert_vectors(axes @ momentum, [0.0, 0.0, norm(momentum)], within=2 * ROUNDING)
    assert (axes @ position)[1] < 0.0


@pytest.mark.reference("CCSDS/SANA registry of orbit-relative reference frames, TNW")
def test_tnw_on_a_circle_is_rsw_turned():
    """On a circle T is S, N is -R (registry: N completes the right-handed set) and W is W."""
    position, velocity = np.array([7e6, 0.0, 0.0]), np.array([0.0, 7.5e3, 0.0])
    r, s, w = rsw_frame(position, velocity)
    assert tnw_frame(position, velocity).tolist() == [s.tolist(), (-r).tolist(), w.tolist()]


def test_frames_take_many_states():
    """Leading axes are free: each row has the frame of its own state."""
    rng = np.random.default_rng(3)
    position, velocity = rng.normal(size=(2, 4, 5, 3))
    for frame in (rsw_frame, tnw_frame):
        many = frame(position, velocity)
        assert many.shape == (4, 5, 3, 3)
        assert np.array_equal(many[2, 3], frame(position[2, 3], velocity[2, 3]))
