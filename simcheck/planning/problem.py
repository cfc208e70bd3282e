"""The two-body problem behind a case: what a route and its phasing have to meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import Gravity
from simcheck.kernels.transfers import period_of
from simcheck.kernels.vectors import cross, norm, unit
from simcheck.measuring import RingMotion, resolve_ring
from simcheck.records.case import Case, Engine

HORIZON_REVOLUTIONS = 60
"""How far a search looks where the case sets no duration, in periods of the slower orbit."""

FARTHEST_REVOLUTIONS = 150
"""How far it looks at most, whatever the duration allowed: its arrays grow with the time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Problem:
    """Start, ring and limits in two-body motion; a fresh start makes it serve replanning.

    start_s is the time of the state; end_s the latest arrival. arc_rad bounds the angle that a
    burn may sweep before it is split, burn_share the share of max_burn that it may take.
    """

    gm: float
    start_s: float
    position_m: Array
    velocity_m_s: Array
    mass_kg: float
    motion: RingMotion
    slot: int
    aims_plane: bool
    aims_circle: bool
    aims_period: bool
    aims_phase: bool
    min_radius_m: float
    max_radius_m: float
    end_s: float
    dv_m_s: float
    engine: Engine
    arc_rad: float
    burn_share: float = 0.85

    @property
    def period_s(self) -> float:
        """Period of the start orbit."""
        return float(period_of(self.position_m, self.velocity_m_s, self.gm))

    @property
    def normal(self) -> Array:
        """Unit normal of the plane to reach: the ring's, or the craft's own if free."""
        own = unit(cross(self.position_m, self.velocity_m_s))
        return self.motion.frame(0.0)[2] if self.aims_plane else own

    @property
    def radius_m(self) -> float:
        """The ring's two-body radius."""
        return self.motion.radius_m

    def ring_velocity(self, position: Array) -> Array:
        """Velocity (3,) of a relay at this point of the ring."""
        along = unit(cross(self.normal, position))
        return np.asarray(np.sqrt(self.gm / self.radius_m) * along)

    def longest_dv(self, radius: float, speed_across: float) -> float:
        """Largest Δv in m/s of one burn here: by max_burn and by the angle it may sweep."""
        rate = speed_across / radius
        seconds = min(self.burn_share * self.engine.max_burn_s, self.arc_rad / rate)
        exhaust = G0 * self.engine.isp_s
        share = min(self.engine.thrust_n / exhaust * seconds / self.mass_kg, 0.999)
        return float(-exhaust * np.log1p(-share))


def problem_of(case: Case, arc_rad: float) -> Problem:
    """Pose a case in two-body motion."""
    gm = case.body.gm_m3_s2
    flat = fast_propagator(Gravity(gm, case.body.radius_m))
    motion = resolve_ring(case.ring, flat)
    craft, limits, tolerance = case.craft, case.limits, case.tolerance
    slower = max(motion.period_s, float(period_of(craft.position_m, craft.velocity_m_s, gm)))
    end = limits.duration_s
    return Problem(
        gm=gm,
        start_s=0.0,
        position_m=craft.position_m,
        velocity_m_s=craft.velocity_m_s,
        mass_kg=craft.mass_kg,
        motion=motion,
        slot=craft.slot,
        aims_plane=tolerance.plane_rad is not None,
        aims_circle=tolerance.eccentricity is not None,
        aims_period=tolerance.period_s is not None,
        aims_phase=tolerance.phase_rad is not None,
        min_radius_m=case.body.radius_m + limits.min_altitude_m,
        max_radius_m=limits.max_radius_m,
        end_s=min(end, FARTHEST_REVOLUTIONS * slower)
        if np.isfinite(end)
        else HORIZON_REVOLUTIONS * slower,
        dv_m_s=limits.dv_m_s,
        engine=case.engine,
        arc_rad=arc_rad,
    )


def across(position: Array, velocity: Array) -> float:
    """Speed across the radius, m/s."""
    return float(norm(cross(position, velocity)) / norm(position))
