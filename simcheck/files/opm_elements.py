"""The Keplerian elements of an orbit parameter message: are they the orbit of its state vector?

They are turned into a state, with the message's own GM. It may be off by what one unit in the last
digit of every number amounts to, twice the rounding, since some programs cut digits instead. To
that is added 1e-7 of the radius and the speed, what single precision loses (6e-8) and some: an
orbit that is wrong, in its time, anomaly or GM, is off by more.
"""

from __future__ import annotations

import math

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
_EXAMPLES = ("41399.5123", "0.020842611", "0.117746", "17.604721", "218.242943", "43.549400")
_ANOMALIES = ("TRUE_ANOMALY", "MEAN_ANOMALY")
_MARGIN = 1e-7


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
    if values[1] < 0.0 or values[0] * (1.0 - values[1]) <= 0.0 or values[-1] <= 0.0:
        block.fault(
            "SEMI_MAJOR_AXIS",
            "with this ECCENTRICITY and GM there is no such orbit: expected an axis above 0 with "
            "an eccentricity below 1, and a GM above 0",
        )
        return
    state = np.array([position, velocity])
    off = _lengths(_state(values, anomaly) - state)
    allowed = _allowed(block, keywords, values, state)
    if (off <= allowed).all():
        return
    message = (
        f"the Keplerian elements are not the orbit of the state vector: they put the craft "
        f"{_far(off[0])} and {off[1]:.6g} m/s away from it, where their digits allow "
        f"{_far(allowed[0])} and {allowed[1]:.2g} m/s"
    )
    other = _ANOMALIES[anomaly == "TRUE_ANOMALY"]
    if (_lengths(_state(values, other) - state) <= allowed).all():
        message += f"; they agree if {anomaly} is meant as {other}: correct the keyword"
    block.fault(anomaly, message)


def _state(values: list[float], anomaly: str) -> Array:
    """Position and velocity, (2, 3), of elements and GM in SI."""
    a, e, i, raan, argp, angle, gm = values
    nu = true_from_mean(angle, e) if anomaly == "MEAN_ANOMALY" else np.asarray(angle)
    with np.errstate(all="ignore"):
        return np.array(state_from_classical(a * (1.0 - e**2), e, i, raan, argp, nu, gm))


def _allowed(block: Block, keywords: tuple[str, ...], values: list[float], state: Array) -> Array:
    """How far position (m) and velocity (m/s) may be off, (2,)."""
    anomaly = keywords[5]
    total = _MARGIN * _lengths(state)
    for k, keyword in enumerate(keywords):
        step = block.digit(keyword)
        sides = [[*values[:k], values[k] + side * step, *values[k + 1 :]] for side in (-0.5, 0.5)]
        total += _lengths(_state(sides[1], anomaly) - _state(sides[0], anomaly))
    digits = [[block.digit(f"{axis}{dot}") for axis in "XYZ"] for dot in ("", "_DOT")]
    return np.asarray(total + _lengths(np.array(digits)))


def _lengths(vectors: Array) -> Array:
    return np.asarray(np.linalg.norm(vectors, axis=-1))


def _far(metres: float) -> str:
    return f"{metres / 1e3:.6g} km" if metres >= 1e3 else f"{metres:.3g} m"
