"""Axes that messages are written in, turned into the case's inertial axes.

The case's z axis is the body's pole. About the Earth its axes are taken as the true equator and
equinox of the case's epoch, and every frame below is turned into them in full (IAU 2006/2000A, by
erfa; no measured Earth orientation, which moves the pole by less than 1 milliarcsecond):

- TOD, MOD, TEME: true or mean equator of the message's date, or of its REF_FRAME_EPOCH. In a
  fortnight the equinox moves by 2 arcseconds. The x axis of TEME differs from the true equinox by
  the equation of the equinoxes, up to 0.005 deg (0.6 km in low orbit).
- EME2000 (J2000), GCRF, ICRF: the equator of 2000, off the pole of date by 0.14 deg in 2025.

About Mars, MCI is taken as it stands: its z axis is the pole. About any body, INERTIAL names the
case's own axes. Frames of other bodies' poles are not converted, and frames that turn with the body
are refused: Earth's rotation angle is measured, not computed.
"""

from __future__ import annotations

import numpy as np

from simcheck.arrays import Array
from simcheck.files.epochs import Instant, erfa_quiet
from simcheck.kernels.vectors import rotation, rsw_frame, tnw_frame
from simcheck.records.case import Body

OWN = "INERTIAL"
_EARTH = {
    "EME2000": "EME2000",
    "J2000": "EME2000",
    "GCRF": "GCRF",
    "ICRF": "GCRF",
    "TOD": "TOD",
    "TOD_EARTH": "TOD",
    "MOD": "MOD",
    "MOD_EARTH": "MOD",
    "TEME": "TEME",
    "TEMEOFDATE": "TEME",
}
_TURNING = ("ITRF", "DTRF", "GRC", "TDR", "GTOD", "EFG", "WGS", "FIXED", "MOON_", "IAU_")
_LOCAL = {
    "RSW": rsw_frame,
    "RTN": rsw_frame,
    "RSW_INERTIAL": rsw_frame,
    "TNW": tnw_frame,
    "TNW_INERTIAL": tnw_frame,
}


def is_earth(body: Body) -> bool:
    """Whether the body is the Earth, by its name."""
    return body.name.casefold() == "earth"


def own_frame(body: Body) -> str:
    """The name that the case's axes have in a message: about the Earth true of date, its epoch's.

    About other bodies the direction of the x axis is the case's own choice, which no registered
    frame stands for.
    """
    return "TOD" if is_earth(body) else OWN


def into_case_axes(frame: str, body: Body, date: Instant, epoch: Instant) -> Array:
    """Matrix (3, 3) that turns vectors in `frame` at `date` into the axes of a case of `epoch`.

    Raises ValueError with a reason that completes "got X, " where that cannot be done.
    """
    name = frame.upper()
    if name == OWN or (name == "MCI" and body.name.casefold() == "mars"):
        return np.eye(3)
    if name.startswith(_TURNING):
        raise ValueError(
            "which turns with the body: its rotation is not modelled here; send the state in "
            + _accepted(body)
        )
    if is_earth(body) and date == epoch and _EARTH.get(name) == "TOD":
        return np.eye(3)  # to the last digit
    if is_earth(body) and name in _EARTH:
        return np.asarray(_true_of_date(epoch) @ _into_gcrf(_EARTH[name], date))
    if name in _EARTH:
        raise ValueError(
            f"whose z axis is not the pole of {body.name}; turn the state into axes with z along "
            f"that pole and write {OWN}"
        )
    raise ValueError(f"which is not among the frames that are read: {_accepted(body)}")


def local_axes(frame: str, position: Array, velocity: Array) -> Array | None:
    """Matrix (3, 3) that turns vectors in RSW, RTN or TNW into the axes of the state.

    The local axes are those of that moment, held fixed: velocities are inertial ones. None where
    the frame is none of them.
    """
    make = _LOCAL.get(frame.upper())
    return None if make is None else np.asarray(make(position, velocity).T)


def _accepted(body: Body) -> str:
    """The frames that are read about a body."""
    if is_earth(body):
        return f"EME2000, GCRF, ICRF, TOD, MOD, TEME or {OWN}"
    return f"MCI or {OWN}" if body.name.casefold() == "mars" else OWN


def _true_of_date(date: Instant) -> Array:
    """From GCRF to the true equator and equinox; TDB serves for TT, 2 ms apart at most."""
    with erfa_quiet() as erfa:
        return np.asarray(erfa.pnm06a(date.day, date.part))


def _into_gcrf(frame: str, date: Instant) -> Array:
    """From a frame of the Earth to GCRF."""
    if frame == "GCRF":
        return np.eye(3)
    with erfa_quiet() as erfa:
        bias, _, mean = erfa.bp06(date.day, date.part)
        if frame == "EME2000":
            return np.asarray(bias.T)
        if frame == "MOD":
            return np.asarray(mean.T)
        true = erfa.pnm06a(date.day, date.part).T
        if frame == "TEME":
            true = true @ rotation(2, erfa.ee06a(date.day, date.part))
        return np.asarray(true)
