"""Hypothesis strategies: the one place that knows which bodies and orbits are sensible.

Whole cases, for planners, are drawn by `simcheck.testing.cases`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from hypothesis import strategies as st

from simcheck.kernels.elements import state_from_classical

TAU = 2 * np.pi
PARABOLA = 1.0
CLOSED = 0.97  # beyond it 1 - e costs more than two digits and the tolerances say nothing
OPEN = 5.0


class Body(NamedTuple):
    """gm in m3/s2, radius in m, J2, J3 and J4: rounded values, fit for tests only."""

    gm: float
    radius: float
    j2: float
    j3: float
    j4: float


BODIES = {
    "Earth": Body(3.986004418e14, 6378137.0, 1.08263e-3, -2.53e-6, -1.62e-6),
    "Mars": Body(4.282837e13, 3396190.0, 1.9566e-3, 3.15e-5, -1.54e-5),
    "Moon": Body(4.9028e12, 1737400.0, 2.033e-4, 8.5e-6, -9.6e-6),
    "Ceres": Body(6.2629e10, 482000.0, 2.65e-2, 0.0, 0.0),
    "Jupiter": Body(1.26686534e17, 71492000.0, 1.4697e-2, 0.0, -5.9e-4),
}


class Orbit(NamedTuple):
    """Classical elements in m and rad about a body of gm, as state_from_classical takes them."""

    p: float
    e: float
    i: float
    raan: float
    argp: float
    nu: float
    gm: float

    @property
    def state(self) -> tuple[np.ndarray, np.ndarray]:
        """Position (3,) m and velocity (3,) m/s."""
        return state_from_classical(*self)

    @property
    def a(self) -> float:
        """Semi-major axis in m; a parabola has none."""
        return self.p / (1.0 - self.e**2)

    @property
    def period(self) -> float:
        """Period of a closed orbit in s."""
        return TAU * np.sqrt(self.a**3 / self.gm)

    @property
    def time_scale(self) -> float:
        """Time in s that the orbit takes to change, for any e: the period of a circle of radius p
        shortened to the passage of the periapsis."""
        return TAU * np.sqrt(self.p**3 / self.gm) / (1.0 + self.e) ** 1.5


def bodies() -> st.SearchStrategy[Body]:
    """Bodies from a dwarf planet to a giant."""
    return st.sampled_from(list(BODIES.values()))


def angles() -> st.SearchStrategy[float]:
    """Angles in [0, 2 pi), quadrants' edges among them."""
    edges = st.sampled_from([0.0, TAU / 4, TAU / 2, 3 * TAU / 4])
    return st.one_of(st.floats(0.0, TAU, exclude_max=True, allow_subnormal=False), edges)


def inclinations() -> st.SearchStrategy[float]:
    """Inclinations in [0, pi], with exactly 0, 90 and 180 deg and the ones just beside them."""
    edges = st.sampled_from([0.0, 1e-12, 1e-9, 1e-6, TAU / 4, TAU / 2 - 1e-7, TAU / 2])
    return st.one_of(edges, st.floats(0.0, TAU / 2, allow_subnormal=False))


def closed_eccentricities(largest: float = CLOSED) -> st.SearchStrategy[float]:
    """Eccentricities of ellipses, the circle and near-circles among them."""
    edges = st.sampled_from([0.0, 1e-13, 1e-9, 1e-6])
    return st.one_of(edges, st.floats(0.0, largest, allow_subnormal=False))


def open_eccentricities() -> st.SearchStrategy[float]:
    """Eccentricities of parabolas and hyperbolas, and of what lies just beside a parabola."""
    edges = st.sampled_from([PARABOLA, 1.0 + 1e-12, 1.0 + 1e-8, 1.0 + 1e-4])
    return st.one_of(edges, st.floats(1.0, OPEN))


def eccentricities() -> st.SearchStrategy[float]:
    """Every eccentricity, on both sides of 1 and at 1."""
    beside = st.sampled_from([1.0 - 1e-4, 1.0 - 1e-8, 1.0 - 1e-12])
    return st.one_of(closed_eccentricities(), open_eccentricities(), beside)


@st.composite
def orbits(
    draw: st.DrawFn,
    e: st.SearchStrategy[float] | None = None,
    i: st.SearchStrategy[float] | None = None,
) -> Orbit:
    """Orbits about any body, periapsis from just above the surface to 30 radii.

    On an open orbit the true anomaly keeps to 80 % of the way to the asymptote.
    """
    body = draw(bodies())
    ecc = draw(e if e is not None else eccentricities())
    periapsis = body.radius * draw(st.floats(1.02, 30.0))
    limit = np.arccos(-1.0 / ecc) if ecc >= 1.0 else np.pi
    share = 0.8 if ecc > 1.0 - 1e-3 else 1.0
    nu = draw(st.floats(-1.0, 1.0, allow_subnormal=False)) * share * limit
    return Orbit(
        periapsis * (1.0 + ecc),
        ecc,
        draw(i if i is not None else inclinations()),
        draw(angles()),
        draw(angles()),
        float(nu),
        body.gm,
    )
