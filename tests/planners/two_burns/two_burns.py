"""A planner for simcheck: two burns at the line of nodes, from a circular orbit to the ring."""

import numpy as np

from simcheck.errors import InputError, NoPlanError
from simcheck.kernels.kepler import propagate
from simcheck.kernels.transfers import (
    apsis_radii,
    coast_to_direction,
    node_direction,
    speed_for_apsis,
    turn_to_plane,
)
from simcheck.kernels.vectors import cross, norm, rsw_frame, unit
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.commanding import Range, command
from simcheck.records.case import Case
from simcheck.records.plan import Burn, Plan, State
from simcheck.records.wish import Wish


def plan(case: Case, wish: Wish) -> Plan:
    """Hohmann's two burns at the nodes, the plane turned with the second; any phase on arrival."""
    site, gm = Range(case), case.body.gm_m3_s2
    low, high = apsis_radii(case.craft.position_m, case.craft.velocity_m_s, gm)
    if case.tolerance.phase_rad is not None or high - low > 1e-3 * low:
        raise InputError("two-burns: expected a circular start and no phase to meet")
    goal, normal = site.motion.radius_m, site.motion.frame(0.0)[2]
    start = (case.craft.position_m, case.craft.velocity_m_s)
    node = node_direction(cross(*start), normal, case.craft.position_m)
    time, r1, v1 = coast_to_direction(*start, node, gm)
    after1 = unit(v1) * speed_for_apsis(norm(r1), goal, gm)
    half = np.pi * np.sqrt(((norm(r1) + goal) / 2) ** 3 / gm)
    r2, v2 = propagate(r1, after1, half, gm)
    after2 = unit(turn_to_plane(r2, v2, normal)) * np.sqrt(gm / norm(r2))
    impulses = (
        Impulse("apsis change", r1, v1, after1, time),
        Impulse("circularising and plane change", r2, v2, after2, time + float(half)),
    )
    aimed = command(site, Candidate("two burns", impulses, (0, 0), None))
    if aimed.broken is not None:
        raise NoPlanError(aimed.broken.why, limit=aimed.broken.limit, excess=aimed.broken.excess)
    burns = tuple(_burn(f"B{k}", impulse) for k, impulse in enumerate(impulses, start=1))
    return Plan(
        planner="two-burns",
        summary="two burns at the line of nodes",
        burns=burns,
        total_dv_m_s=sum(burn.magnitude_m_s for burn in burns),
        arrival_time_s=burns[-1].time_s,
        arrival_state=State(position_m=r2, velocity_m_s=after2),
        lower_bound_dv_m_s=None,
        alternatives=(),
        commands=aimed.commands,
        commanded_dv_m_s=aimed.dv_m_s,
    )


def _burn(label: str, impulse: Impulse) -> Burn:
    return Burn(
        label=label,
        purpose=impulse.purpose,
        reason="At the line of nodes, as the handbook has it.",
        time_s=impulse.time,
        position_m=impulse.position,
        dv_m_s=impulse.dv,
        dv_rsw_m_s=rsw_frame(impulse.position, impulse.before) @ impulse.dv,
        magnitude_m_s=impulse.size,
    )
