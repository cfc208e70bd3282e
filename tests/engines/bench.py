"""What the engines' tests share: both propagators, orbits about the strategies' bodies."""

from __future__ import annotations

import numpy as np

from simcheck.engines.base import Propagator
from simcheck.engines.gravity import Gravity
from simcheck.engines.reference import ReferencePropagator
from simcheck.engines.taylor import TaylorPropagator
from simcheck.kernels.elements import state_from_classical
from tests.strategies import BODIES, TAU, Body

ENGINES = [TaylorPropagator, ReferencePropagator]
NAMES = ["taylor", "reference"]
POLE = np.array([0.0, 0.0, 1.0])
MARS = BODIES["Mars"]


def gravity(body: Body = MARS, *, zonal: bool = True) -> Gravity:
    """The body's point mass, with J2, J3 and J4 if asked."""
    return Gravity(*body) if zonal else Gravity(body.gm, body.radius)


def state(
    periapsis: float = 1.5,
    e: float = 0.3,
    i: float = 0.8,
    *,
    raan: float = 1.0,
    argp: float = 0.5,
    nu: float = 0.3,
    body: Body = MARS,
    mass: float = 1000.0,
) -> np.ndarray:
    """A state (7,); periapsis in radii of the body, angles in rad."""
    p = periapsis * body.radius * (1 + e)
    return np.array([*np.concatenate(state_from_classical(p, e, i, raan, argp, nu, body.gm)), mass])


def period(y: np.ndarray, gm: float) -> float:
    """Osculating period in s."""
    inverse = 2 / np.linalg.norm(y[:3]) - y[3:6] @ y[3:6] / gm
    return float(TAU / np.sqrt(gm * inverse**3))


def kinds(propagator: Propagator, y: np.ndarray, span: float) -> list[str]:
    """What passages come in which order."""
    return [event.kind for event in propagator.passages(0.0, y, span, POLE)]
