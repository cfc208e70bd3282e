"""The manoeuvres of an orbit parameter message, as they stand there."""

from __future__ import annotations

import numpy as np

from simcheck.files.kvn import Block
from simcheck.files.message_manoeuvres import Manoeuvre

IGNITION = "MAN_EPOCH_IGNITION"
_DV = ("MAN_DV_1", "MAN_DV_2", "MAN_DV_3")
MANOEUVRE_UNITS = {
    IGNITION: "",
    "MAN_DURATION": "s",
    "MAN_DELTA_MASS": "kg",
    "MAN_REF_FRAME": "",
    **dict.fromkeys(_DV, "km/s"),
}


def read_manoeuvre(burn: Block, system: str | None) -> Manoeuvre | None:
    """One manoeuvre; None after a fault."""
    ignition = burn.date(IGNITION, system)
    duration = burn.number("MAN_DURATION", "132.60")
    delta_mass = burn.number("MAN_DELTA_MASS", "-18.418")
    frame = burn.text("MAN_REF_FRAME", "RTN")
    dv = [burn.number(key, "0.001015") for key in _DV]
    if duration < 0.0:
        burn.fault("MAN_DURATION", "expected 0 s, which is an impulse, or more")
    if delta_mass >= 0.0:
        burn.fault("MAN_DELTA_MASS", "expected less than 0 kg: mass is lost")
    if ignition is None or frame is None or not np.isfinite([duration, delta_mass, *dv]).all():
        return None
    return Manoeuvre(
        ignition=ignition,
        duration_s=duration,
        delta_mass_kg=delta_mass,
        frame=frame,
        dv_m_s=np.array(dv),
        line=burn.line(IGNITION),
    )
