"""Vectors, angles and frames on arrays whose last axis is the component."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from simcheck.arrays import Array

TAU = 2.0 * np.pi


def dot(a: Array, b: Array) -> Array:
    """Scalar product over the last axis, (..., 3) with (..., 3) to (...).

    Written out, so that the last bit depends neither on the batch nor on the memory layout.
    """
    return np.asarray(a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1] + a[..., 2] * b[..., 2])


def cross(a: Array, b: Array) -> Array:
    """Vector product over the last axis, (..., 3); quicker than numpy's general one."""
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    u, v, w = b[..., 0], b[..., 1], b[..., 2]
    first = y * w - z * v
    result = np.empty((*np.shape(first), 3))
    result[..., 0], result[..., 1], result[..., 2] = first, z * u - x * w, x * v - y * u
    return result


def norm(a: Array) -> Array:
    """Length over the last axis, (..., 3) to (...)."""
    return np.sqrt(dot(a, a))


def unit(a: Array) -> Array:
    """Direction of `a`, (..., 3). A zero vector gives NaN."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(a / norm(a)[..., None])


def wrap(angle: ArrayLike) -> Array:
    """Bring an angle into (-pi, pi]."""
    return np.asarray(np.pi - np.mod(np.pi - np.asarray(angle, dtype=np.float64), TAU))


def angle_between(a: Array, b: Array) -> Array:
    """Angle between two vectors in [0, pi], accurate also near 0 and pi."""
    return np.arctan2(norm(cross(a, b)), dot(a, b))


def rotation(axis: int, angle: ArrayLike) -> Array:
    """Matrix that turns a vector about a coordinate axis (0, 1 or 2), shape (..., 3, 3)."""
    angle = np.asarray(angle, dtype=np.float64)
    c, s = np.cos(angle), np.sin(angle)
    matrix = np.zeros((*angle.shape, 3, 3))
    i, j = (axis + 1) % 3, (axis + 2) % 3
    matrix[..., axis, axis] = 1.0
    matrix[..., i, i] = matrix[..., j, j] = c
    matrix[..., i, j], matrix[..., j, i] = -s, s
    return matrix


def turn_about(vector: Array, axis: Array, angle: ArrayLike) -> Array:
    """Turn `vector` about the unit vector `axis` by `angle` (Rodrigues' formula), (..., 3)."""
    angle = np.asarray(angle, dtype=np.float64)[..., None]
    along = dot(axis, vector)[..., None] * axis
    return np.asarray(
        along + np.cos(angle) * (vector - along) + np.sin(angle) * cross(axis, vector)
    )


def rsw_frame(position: Array, velocity: Array) -> Array:
    """Rows are the unit vectors R (radial), S (along-track), W (cross-track) in the outer axes.

    position, velocity: (..., 3) m, m/s. Returns (..., 3, 3); `frame @ x` resolves x in RSW.
    """
    r = unit(position)
    w = unit(cross(position, velocity))
    return np.stack([r, cross(w, r), w], axis=-2)


def tnw_frame(position: Array, velocity: Array) -> Array:
    """Rows are T (along the velocity), N (normal to it, in the orbit plane), W (cross-track).

    position, velocity: (..., 3) m, m/s. Returns (..., 3, 3). N = W x T completes a right-handed
    set, as the open registry has it, so on a near-circular orbit N points towards the body.
    """
    t = unit(velocity)
    w = unit(cross(position, velocity))
    return np.stack([t, cross(w, t), w], axis=-2)
