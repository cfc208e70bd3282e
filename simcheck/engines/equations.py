"""The equations of motion as heyoka takes them, and where their parameters stand.

At gm = radius = 1 and with the mass as a share of the arc's first. Terms that a gravity does not
have are not compiled in. A sky's positions are polynomials of the share of the arc that has passed
(`simcheck.engines.pulls.Windows`), so that any ephemeris flies in the same code.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

import heyoka as hy
import numpy as np

from simcheck.arrays import Array
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import LATE_S, POWERS, in_sunlight, push_of, windows

ZONAL = slice(0, 3)
THRUST = slice(3, 11)  # thrust acceleration at unit mass, flow, inertial (3), rsw (3)
EVENT = slice(11, 18)
TIDE = 18
PACE = 19  # shares of a window a unit of time
SHARE = 20  # of the window, at the arc's start
LIT = 21
_TRACK = 22  # of each track: its pull, its push, and the powers of x, y and z
_TRACK_SIZE = 2 + 3 * POWERS
_EXPONENTS = np.arange(POWERS)
_OVER = 1.0 + 1e-9  # strides that an arc may be long


class Terms(NamedTuple):
    """Which terms the equations have beside the point mass and the zonals."""

    tide: bool = False
    tracks: int = 0
    sunlight: bool = False

    @property
    def parameters(self) -> int:
        """How many parameters the equations take, those of thrust and event included."""
        if self.tracks:
            return _TRACK + self.tracks * _TRACK_SIZE
        return TIDE + 1 if self.tide else 0

    @property
    def compiling(self) -> dict[str, Any]:
        """How heyoka compiles them. With tracks as calls, which takes a tenth of the time (0.5 s
        for 5) and flies half as fast: 0.24 s for 0.12 s of a year of four relays about the Moon."""
        return {"compact_mode": True, "opt_level": 1} if self.tracks else {}


def terms_of(gravity: Gravity) -> Terms:
    """The terms that a gravity needs."""
    sky = gravity.sky
    if sky is None:
        return Terms(tide=gravity.tide != 0.0)
    return Terms(gravity.tide != 0.0, len(sky.tracks), sky.sunlight is not None)


def outer_parameters(gravity: Gravity, times: Array, spans: Array, positions: Array) -> Array:
    """Parameters (n, k) from TIDE on, of arcs from times (n,) that last spans (n,), SI.

    positions (n, 3) are where they begin. Those of a sky are NaN for an arc that is longer than
    `longest_arc` or begins or ends where its tracks are not known.
    """
    terms = terms_of(gravity)
    found = np.zeros((len(times), max(terms.parameters - TIDE, 0)))
    for row, *arc in zip(found, times, spans, positions, strict=True):
        set_outer(row, gravity, terms, *arc)
    return found


def set_outer(
    pars: Array, gravity: Gravity, terms: Terms, time: float, span: float, position: Array
) -> None:
    """The same for one arc, into `pars` (k,) from TIDE on."""
    if terms.tide:
        pars[0] = gravity.tide * _unit_time(gravity) ** 2
    if not terms.tracks:
        return
    table = _table(gravity)
    low, long = min(time, time + span), abs(span)
    if not (
        low >= table.start and low + long <= table.end + LATE_S and long <= _OVER * table.stride
    ):
        pars[:] = np.nan
        return
    index = min(int((low - table.start) / table.stride), len(table.rows) - 1)
    share = (time - table.start - index * table.stride) / (2.0 * table.stride)
    pars[PACE - TIDE] = _unit_time(gravity) / (2.0 * table.stride)
    pars[SHARE - TIDE] = share
    pars[_TRACK - TIDE :] = row = table.rows[index]
    pars[LIT - TIDE] = 1.0
    if terms.sunlight:
        sun = row[-3 * POWERS :].reshape(3, POWERS) @ share**_EXPONENTS
        pars[LIT - TIDE] = in_sunlight(position / gravity.radius, sun, 1.0)


class _Table(NamedTuple):
    """Parameters (n, k) of the tracks in each window, at gm = radius = 1; times in s."""

    start: float
    end: float
    stride: float
    rows: Array


@lru_cache(maxsize=64)
def _table(gravity: Gravity) -> _Table:
    sky = gravity.sky
    if sky is None:
        raise ValueError("no sky to look at")
    seen = windows(sky)
    rows = np.empty((len(seen.powers), len(sky.tracks), _TRACK_SIZE))
    strength = gravity.gm  # the unit of length cubed over time squared
    for j, track in enumerate(sky.tracks):
        rows[:, j, 0] = track.gm_m3_s2 / strength if track in sky.pulling else 0.0
        shines = track is sky.sun and sky.sunlight is not None
        rows[:, j, 1] = push_of(sky.sunlight) / strength if shines and sky.sunlight else 0.0
        rows[:, j, 2:] = seen.powers[:, j].reshape(len(rows), -1) / gravity.radius
    return _Table(seen.start, seen.end, seen.stride, rows.reshape(len(rows), -1))


def _unit_time(gravity: Gravity) -> float:
    """Seconds that are one where gm = radius = 1."""
    return float(np.sqrt(gravity.radius**3 / gravity.gm))


def motion_equations(*, thrusting: bool, terms: Terms = Terms()) -> list[Any]:  # noqa: B008
    """Rates of x, y, z, vx, vy, vz and, of a burn, of m; the parameters are laid out above."""
    r = hy.make_vars("x", "y", "z")
    v = hy.make_vars("vx", "vy", "vz")
    acceleration = [sum(parts[1:], parts[0]) for parts in zip(*_pulls(r, terms), strict=True)]
    if not thrusting:
        return [*zip(r, v, strict=True), *zip(v, acceleration, strict=True)]
    m = hy.make_vars("m")
    h, rn, hn = _cross(r, v), hy.sqrt(_dot(r, r)), hy.sqrt(_dot(_cross(r, v), _cross(r, v)))
    s = _cross(h, r)
    first = THRUST.start
    push = hy.par[first] / m
    fixed = [hy.par[first + 2 + i] for i in range(3)]
    turning = [hy.par[first + 5 + i] for i in range(3)]
    thrust = [
        push
        * (
            fixed[i]
            + turning[0] * r[i] / rn
            + turning[1] * s[i] / (rn * hn)
            + turning[2] * h[i] / hn
        )
        for i in range(3)
    ]
    total = [a + b for a, b in zip(acceleration, thrust, strict=True)]
    return [
        *zip(r, v, strict=True),
        *zip(v, total, strict=True),
        (m, -hy.par[first + 1]),
    ]


def _pulls(r: list[Any], terms: Terms) -> list[list[Any]]:
    """Accelerations whose sum is the coasting one, each of three expressions."""
    pulls = [_gravity(r)]
    if terms.tide:
        k = hy.par[TIDE]
        pulls.append([-0.5 * k * r[0], -0.5 * k * r[1], k * r[2]])
    for j in range(terms.tracks):
        first = _TRACK + j * _TRACK_SIZE
        there = _place(j)
        gap = [a - b for a, b in zip(there, r, strict=True)]
        near, far = _over_cube(gap), _over_cube(there)
        pull = hy.par[first]
        pulls.append([pull * (a - b) for a, b in zip(near, far, strict=True)])
        if terms.sunlight and j == terms.tracks - 1:
            push = -hy.par[first + 1] * hy.par[LIT]
            pulls.append([push * a for a in near])
    return pulls


def _place(track: int) -> list[Any]:
    """Where a track is, three expressions of time, by Horner's rule."""
    share = hy.time * hy.par[PACE] + hy.par[SHARE]
    first = _TRACK + track * _TRACK_SIZE + 2
    place = []
    for axis in range(3):
        powers = [hy.par[first + axis * POWERS + i] for i in range(POWERS)]
        value = powers[-1]
        for power in reversed(powers[:-1]):
            value = power + value * share
        place.append(value)
    return place


def _over_cube(vector: list[Any]) -> list[Any]:
    size2 = _dot(vector, vector)
    inverse = 1.0 / (size2 * hy.sqrt(size2))
    return [x * inverse for x in vector]


def _gravity(r: list[Any]) -> list[Any]:
    """Point mass and zonal terms at gm = radius = 1; the kernel `zonal_acceleration` explains."""
    j2, j3, j4 = (hy.par[i] for i in range(3))
    r2 = _dot(r, r)
    rn = hy.sqrt(r2)
    s = r[2] / rn
    u = s * s  # products, since the series of a general power divides by s, zero at the equator
    p2, d2 = (3.0 * u - 1.0) / 2.0, 3.0 * s
    p3, d3 = (5.0 * u - 3.0) * s / 2.0, (15.0 * u - 3.0) / 2.0
    p4, d4 = (35.0 * u * u - 30.0 * u + 3.0) / 8.0, (35.0 * u - 15.0) * s / 2.0
    b2, b3, b4 = j2 / r2, j3 / (r2 * rn), j4 / (r2 * r2)
    radial = 3.0 * b2 * p2 + 4.0 * b3 * p3 + 5.0 * b4 * p4
    polar = -(b2 * d2 + b3 * d3 + b4 * d4)
    along = (radial - s * polar - 1.0) / (r2 * rn)
    return [along * r[0], along * r[1], along * r[2] + polar / r2]


def stop_expression() -> Any:
    """The stop function at gm = radius = 1, of the parameters `EVENT`."""
    r, v = hy.make_vars("x", "y", "z"), hy.make_vars("vx", "vy", "vz")
    h = _cross(r, v)
    h2 = _dot(h, h)
    p = [hy.par[EVENT.start + i] for i in range(7)]
    energy = _dot(v, v) / 2.0 - 1.0 / hy.sqrt(_dot(r, r))
    return p[0] * energy + _dot(p[1:4], h) + p[4] * hy.sqrt(h2) + p[5] * h2 + p[6]


def shadow_expression(terms: Terms) -> Any:
    """Square of the distance from the line to the Sun, less the body's radius squared."""
    r, sun = hy.make_vars("x", "y", "z"), _place(terms.tracks - 1)
    along = _dot(r, sun)
    return _dot(r, r) - along * along / _dot(sun, sun) - 1.0


def sun_ahead(pars: Array, place: Array, time: float, terms: Terms) -> bool:
    """Whether a place (3,) lies on the Sun's side of the body, in the equations' units."""
    first = _TRACK + (terms.tracks - 1) * _TRACK_SIZE + 2
    powers = pars[first : first + 3 * POWERS].reshape(3, POWERS)
    sun = powers @ (time * pars[PACE] + pars[SHARE]) ** np.arange(POWERS)
    return bool(place @ sun >= 0.0)


def lit_beyond(direction: int, step: float) -> float:
    """LIT behind a crossing of the shadow's edge.

    direction is the sign of the rate by time of `shadow_expression`, step that of the integrator,
    negative where it goes back in time.
    """
    return 1.0 if direction * step > 0.0 else 0.0


def plane_expression() -> Any:
    """Component of the position along the normal that stands in `EVENT`."""
    return _dot([hy.par[EVENT.start + i] for i in range(3)], hy.make_vars("x", "y", "z"))


def apsis_expression() -> Any:
    """Zero at the apsides."""
    return _dot(hy.make_vars("x", "y", "z"), hy.make_vars("vx", "vy", "vz"))


def _dot(a: list[Any], b: list[Any]) -> Any:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _cross(a: list[Any], b: list[Any]) -> list[Any]:
    return [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
