"""Cases for tests whose craft is near its slot: the errors asked for, in the case's own forces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simcheck.kernels.elements import equinoctial_from_state, state_from_equinoctial
from simcheck.measuring import relay_state
from simcheck.planning.commanding import Range
from simcheck.records.case import Case
from simcheck.records.flight import FlownErrors


def near(
    made: Case,
    *,
    phase: float = 0.0,
    period: float = 0.0,
    e: tuple[float, float] = (0.0, 0.0),
    plane: tuple[float, float] = (0.0, 0.0),
) -> Case:
    """The case with its craft off its slot by so much: phase in deg, positive ahead; period as a
    share; e along and across the ring's node; plane as the normal's x and y in deg.
    """
    site, craft = Range(made), made.craft
    gm, frame = made.body.gm_m3_s2, site.motion.frame(0.0)
    ahead = made.ring.argument_of_latitude_rad + np.radians(phase)
    elsewhere = replace(made.ring, argument_of_latitude_rad=ahead)
    relay = relay_state(site.motion._replace(ring=elsewhere), site.propagator, craft.slot)
    on = equinoctial_from_state(frame @ relay[:3], frame @ relay[3:], gm)
    x, y = np.radians(plane)
    off = on._replace(
        a=on.a * (1 + period) ** (2 / 3),
        k=on.k + e[0],
        h=on.h + e[1],
        p=on.p + x / 2,
        q=on.q - y / 2,
    )
    r, v = state_from_equinoctial(off, gm)
    return replace(made, craft=replace(craft, position_m=r @ frame, velocity_m_s=v @ frame))


def uses(made: Case, errors: FlownErrors) -> float:
    """The largest share of a tolerance that is left."""
    t = made.tolerance
    assert t.phase_rad
    assert t.period_s
    assert t.eccentricity
    assert t.plane_rad
    shares = [
        abs(np.radians(errors.phase_deg)) / t.phase_rad,
        abs(errors.period_s) / t.period_s,
        errors.eccentricity / t.eccentricity,
        np.radians(errors.plane_deg) / t.plane_rad,
    ]
    return float(max(shares))
