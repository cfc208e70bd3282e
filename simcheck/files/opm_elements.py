"""The Keplerian elements of a message: are they the orbit of its state vector?

They are turned into a state, with the message's own GM. It may be off by what one unit in the last
digit of every number amounts to, twice the rounding, since some programs cut digits instead. To
that is added 1e-7 of the radius and the speed, what single precision loses (6e-8) and some: an
orbit that is wrong, in its time, anomaly or GM, is off by more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from simcheck.arrays import Array
from simcheck.files.kvn import Block
from simcheck.kernels.elements import state_from_classical
from simcheck.kernels.kepler import true_from_mean

ELEMENTS = {
    "SEMI_MAJOR_AXIS": "km",
    "ECCENTRICITY": "",
    "INCLINATION": "deg",
    "RA_OF_ASC_NODE": "deg",
    "ARG_OF_PERICENTER": "deg",
    "TRUE_ANOMALY": "deg",
    "MEAN_ANOMALY": "deg",
    "GM": "km**3/s**2",
}
NO_SUCH_ORBIT = (
    "with this ECCENTRICITY and GM there is no such orbit: expected an axis above 0 with "
    "an eccentricity below 1, and a GM above 0"
)
_EXAMPLES = ("41399.5123", "0.020842611", "0.117746", "17.604721", "218.242943", "43.549400")
_ANOMALIES = ("TRUE_ANOMALY", "MEAN_ANOMALY")
MARGIN = 1e-7
"""Of the radius and the speed, beside what the digits allow."""


def check_elements(block: Block, position: Array, velocity: Array) -> None:
    """Record a fault where the elements are incomplete or disagree with the state (m, m/s)."""
    if not any(block.has(keyword) for keyword in ELEMENTS):
        return
    given = [keyword for keyword in _ANOMALIES if block.has(keyword)]
    if len(given) == 2:
        block.fault("MEAN_ANOMALY", "stands beside TRUE_ANOMALY; give one of them")
        return
    anomaly = given[0] if given else "TRUE_ANOMALY"
    keywords = (*list(ELEMENTS)[:5], anomaly, "GM")
    examples = (*_EXAMPLES, "398600.4415")
    values = [block.number(key, text) for key, text in zip(keywords, examples, strict=True)]
    if not all(map(math.isfinite, values)):
        return
    if not is_orbit(values):
        block.fault("SEMI_MAJOR_AXIS", NO_SUCH_ORBIT)
        return
    mean, state = anomaly == "MEAN_ANOMALY", np.array([position, velocity])
    steps = [block.digit(keyword) for keyword in keywords]
    digits = np.array([[block.digit(f"{axis}{dot}") for axis in "XYZ"] for dot in ("", "_DOT")])
    allowed = MARGIN * lengths(state) + digits_allow(values, steps, mean=mean) + lengths(digits)
    off = lengths(state_of_elements(values, mean=mean) - state)
    if (off <= allowed).all():
        return
    message = f"the Keplerian elements are not the orbit of the state vector: {away(off, allowed)}"
    other = _ANOMALIES[not mean]
    if (lengths(state_of_elements(values, mean=not mean) - state) <= allowed).all():
        message += f"; they agree if {anomaly} is meant as {other}: correct the keyword"
    block.fault(anomaly, message)


def is_orbit(values: Sequence[float]) -> bool:
    """Whether axis, eccentricity and GM, among seven values in SI, are those of an orbit."""
    a, e, gm = values[0], values[1], values[-1]
    return e >= 0.0 and a * (1.0 - e) > 0.0 and gm > 0.0


def state_of_elements(values: Sequence[float], *, mean: bool) -> Array:
    """Position and velocity, (2, 3), of axis, eccentricity, inclination, node, argument of
    periapsis, true (or mean) anomaly and GM in SI.
    """
    a, e, i, raan, argp, angle, gm = values
    nu = true_from_mean(angle, e) if mean else np.asarray(angle)
    with np.errstate(all="ignore"):
        return np.array(state_from_classical(a * (1.0 - e**2), e, i, raan, argp, nu, gm))


def digits_allow(values: Sequence[float], steps: Sequence[float], *, mean: bool) -> Array:
    """How far a unit in the last digit of each of seven values moves position and velocity, (2,).

    steps are the sizes of these units; what comes back is in m and m/s.
    """
    total = np.zeros(2)
    for k, step in enumerate(steps):
        sides = [[*values[:k], values[k] + side * step, *values[k + 1 :]] for side in (-0.5, 0.5)]
        low, high = (state_of_elements(side, mean=mean) for side in sides)
        total += lengths(high - low)
    return total


def away(off: Array, allowed: Array) -> str:
    """How far elements are off, and how far they may be, in words."""
    return (
        f"they put the craft {_far(off[0])} and {off[1]:.6g} m/s away from it, where their digits "
        f"allow {_far(allowed[0])} and {allowed[1]:.2g} m/s"
    )


def lengths(vectors: Array) -> Array:
    """Lengths (...) of vectors (..., 3)."""
    return np.asarray(np.linalg.norm(vectors, axis=-1))


def _far(metres: float) -> str:
    return f"{metres / 1e3:.6g} km" if metres >= 1e3 else f"{metres:.3g} m"
