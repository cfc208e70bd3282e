"""From aimed burns to commands: engines chosen, burns too short dropped, limits checked."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.clearances import Clearances, Stretch, clearances
from simcheck.engines.base import G0, Propagator, Steering, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import Gravity, gravity_of
from simcheck.errors import FlightError
from simcheck.kernels.kepler import propagate
from simcheck.kernels.transfers import apsis_radii, period_of
from simcheck.kernels.vectors import cross, dot, norm, rsw_frame, unit
from simcheck.measuring import REVOLUTIONS, RingMotion, relay_state, resolve_ring
from simcheck.planning.aiming import aim, levels
from simcheck.planning.burns import Burns, burn_seconds, first_burns
from simcheck.planning.candidates import Candidate
from simcheck.planning.shooting import Aim, Flown, swept
from simcheck.records.case import Case, Engine
from simcheck.records.plan import Command, Quantity, Watch

_ATTEMPTS = 6
_OVERLAP_S = 1.0  # by which a re-aimed burn may have to begin before the one ahead has ended
_LOOKS = 12  # a revolution, at which a coast's angle is added up
_SLACK = 1e-9
_RADIUS_SLACK = 1.0  # m


class Broken(NamedTuple):
    """A limit that an aimed flight breaks: by how much in SI, and in words."""

    limit: str
    excess: float
    why: str


class Aimed(NamedTuple):
    """Commands with what they lead to, and the limit that they break, if any.

    lit (n, 7) are the states at the ignitions.
    """

    commands: tuple[Command, ...]
    dv_m_s: float
    arrival_s: float
    broken: Broken | None
    lit: Array = np.empty((0, 7))


class Range:
    """The case's forces, ring and members, resolved once for all candidates."""

    def __init__(self, case: Case) -> None:
        self.case = case
        gravity: Gravity = gravity_of(case)
        self.propagator_at, self.motion_at = levels(
            gravity, fast_propagator, lambda p: resolve_ring(case.ring, p)
        )
        self.start = np.concatenate(
            [case.craft.position_m, case.craft.velocity_m_s, [case.craft.mass_kg]]
        )

    @cached_property
    def members(self) -> list[Array]:
        """States of the members at the epoch; none where no separation is asked for."""
        if self.case.limits.separation_m <= 0:
            return []
        return member_states(self.case, self.motion, self.propagator)

    @property
    def propagator(self) -> Propagator:
        """The case's full forces."""
        return self.propagator_at(1.0)

    @property
    def motion(self) -> RingMotion:
        """The ring in the case's full forces."""
        return self.motion_at(1.0)

    @property
    def setup(self) -> Aim:
        """What the re-aiming has to meet."""
        case = self.case
        return Aim(
            start_s=0.0,
            end_s=case.limits.duration_s,
            min_radius_m=case.body.radius_m + case.limits.min_altitude_m,
            max_radius_m=case.limits.max_radius_m,
            start=self.start,
            motion=self.motion,
            slot=case.craft.slot,
            tolerance=case.tolerance,
        )


def member_states(case: Case, motion: RingMotion, propagator: Propagator) -> list[Array]:
    """States (7,) of the members at the epoch, unit mass: on their slots, or as given."""
    states = []
    for member in case.members:
        if member.position_m is not None and member.velocity_m_s is not None:
            state = np.concatenate([member.position_m, member.velocity_m_s])
        else:
            state = relay_state(motion, propagator, member.slot or 0)
        states.append(np.append(state, 1.0))
    return states


def command(
    site: Range,
    candidate: Candidate,
    *,
    punctual: bool = False,
    trim_goal: float | None = None,
) -> Aimed:
    """Aim a candidate and check it against every limit.

    punctual: the arrival may not slip, even where a later one costs less. trim_goal, for trims, is
    the share of each tolerance that they are aimed within; they stay where they are, being the
    cheapest already.
    Raises FlightError where the aiming does not converge.
    """
    case = site.case
    burns = first_burns(candidate, case.craft, case.engine, case.thrusters, case.body.gm_m3_s2)
    setup, letter = site.setup, "B"
    if trim_goal is not None:
        setup, letter = replace(setup, goal=trim_goal, lower=False), "T"
    if punctual:
        setup = replace(setup, end_s=min(setup.end_s, _cutoff(site, candidate)))
    labels = [f"{letter}{i + 1}" for i in range(len(burns.sweeps))]
    return _aimed(site, setup, burns, labels, gradually=trim_goal is None)


def recommand(site: Range, commands: tuple[Command, ...], *, goal: float = 0.01) -> Aimed:
    """Aim commands of an earlier plan anew from where the site's case begins, their order kept.

    Raises FlightError where they cannot be flown from there, or the aiming does not converge.
    """
    burns = commanded_burns(site, commands)
    return _aimed(
        site, replace(site.setup, goal=goal), burns, [x.burn for x in commands], gradually=False
    )


def commanded_burns(site: Range, commands: tuple[Command, ...]) -> Burns:
    """The burns that commands stand for, flown on their dates from where the site's case begins.

    Raises FlightError for a burn that would begin before the one ahead of it has ended.
    """
    case, gm, time, state = site.case, site.case.body.gm_m3_s2, 0.0, site.start
    places, sweeps, engines, began = [], [], list[Engine](), state[:3]
    for index, command in enumerate(commands):
        if command.ignition_s < time - _OVERLAP_S:
            early = time - command.ignition_s
            raise FlightError(f"{command.burn} would begin {early:.0f} s too early")
        engine = case.thrusters if command.engine == "thrusters" else case.engine
        if engine is None:
            raise FlightError(f"{command.burn} asks for thrusters; the case has none")
        length = burn_seconds(command.dv_m_s, float(state[6]), engine)
        middle = command.ignition_s + command.duration_s / 2
        lit = site.propagator.advance(time, state, max(middle - length / 2, time)).state
        place, _ = propagate(lit[:3], lit[3:6], length / 2, gm)
        behind = swept(began, state) if index else 0.0
        sweeps.append(behind + _swept_coast(site, time, state, middle - time, place))
        engines.append(engine)
        thrust = _thrust_of(engine, command.steering, command.direction)
        time = max(middle - length / 2, time) + length
        state = site.propagator.advance(time - length, lit, time, thrust).state
        places.append(unit(place))
        began = place
    return Burns(
        np.array(places).reshape(-1, 3),
        np.array(sweeps),
        np.array([x.dv_m_s * x.direction for x in commands]).reshape(-1, 3),
        tuple(x.steering for x in commands),
        tuple(engines),
    )


def _swept_coast(site: Range, time: float, state: Array, span: float, place: Array) -> float:
    """Angle in rad swept from a state over a coast to a place, whole revolutions counted."""
    period = float(period_of(state[:3], state[3:6], site.case.body.gm_m3_s2))
    steps = _LOOKS * max(1, math.ceil(span / period)) if math.isfinite(period) else _LOOKS
    rows = site.propagator.sample(time, state, time + np.linspace(0.0, max(span, 0.0), steps + 1))
    angles = [swept(a[:3], b) for a, b in pairwise(rows)]
    return float(sum(angles)) + swept(rows[-1][:3], np.append(place, rows[-1][3:]))


def _aimed(
    site: Range, setup: Aim, burns: Burns, labels: list[str], *, gradually: bool = True
) -> Aimed:
    case = site.case
    short: Broken | None = None
    for _ in range(_ATTEMPTS + len(labels)):
        try:
            burns, flown = aim(
                setup, burns, site.propagator_at, site.motion_at, gradually=gradually
            )
        except FlightError:
            if short is None:
                raise
            return Aimed((), burns.total, 0.0, short)
        wrong = _too_short(site, burns, flown)
        if wrong is None:
            break
        index, swap = wrong
        if swap and case.thrusters is not None:
            engines = list(burns.engines)
            engines[index] = case.thrusters
            burns = burns._replace(engines=tuple(engines))
        else:
            short = _short(burns, flown, index)
            burns, labels = burns.without(index), labels[:index] + labels[index + 1 :]
    else:
        raise FlightError("burns too short for any engine keep turning up")
    commands = tuple(_command(site, label, burns, flown, i) for i, label in enumerate(labels))
    arrival = float(flown.ignitions[-1] + flown.durations[-1]) if labels else 0.0
    broken = _broken(site, burns, flown, arrival)
    return Aimed(commands, burns.total, arrival, broken, flown.lit)


def _cutoff(site: Range, candidate: Candidate) -> float:
    """When the candidate's last burn ends, made with the engine."""
    before = sum(x.size for x in candidate.impulses[:-1])
    engine, last = site.case.engine, candidate.impulses[-1]
    mass = float(site.start[6]) * math.exp(-before / (G0 * engine.isp_s))
    return last.time + 0.5 * burn_seconds(last.size, mass, engine)


def _too_short(site: Range, burns: Burns, flown: Flown) -> tuple[int, bool] | None:
    """The first burn shorter than its engine can do, and whether the thrusters can do it."""
    thrusters = site.case.thrusters
    for i, engine in enumerate(burns.engines):
        if flown.durations[i] >= engine.min_burn_s:
            continue
        if thrusters is not None and engine.name == "engine":
            length = flown.durations[i] * engine.thrust_n / thrusters.thrust_n
            return i, length >= thrusters.min_burn_s
        return i, False
    return None


def _short(burns: Burns, flown: Flown, index: int) -> Broken:
    """A burn dropped because no engine is quick enough for it."""
    engine, length = burns.engines[index], float(flown.durations[index])
    text = f"needs a burn of {length:.3f} s where the {engine.name} cannot do less than "
    return Broken("min_burn", engine.min_burn_s - length, f"{text}{engine.min_burn_s:.3f} s")


def _broken(site: Range, burns: Burns, flown: Flown, arrival: float) -> Broken | None:
    """The first limit that the aimed flight breaks."""
    limits, case = site.case.limits, site.case
    left = float(flown.states[-1, 6]) if len(flown.states) else float(site.start[6])
    longest = np.array([engine.max_burn_s for engine in burns.engines])
    seen = _clearances(site, burns, flown, arrival)
    low = seen.lowest_radius_m - case.body.radius_m
    near = seen.closest_m if seen.closest_m is not None else math.inf
    who = case.members[seen.closest_member or 0].name if case.members else ""
    checks = [
        (
            "max_burn",
            float(np.max(flown.durations - longest, initial=-1.0)),
            "burns {:.1f} s longer",
        ),
        ("duration", arrival - limits.duration_s, "arrives {:.1f} s later"),
        ("dv", burns.total - limits.dv_m_s, "needs {:.2f} m/s more"),
        ("propellant", case.craft.dry_mass_kg - left, "needs {:.3f} kg more than the tank holds"),
        ("min_altitude", limits.min_altitude_m - low - _RADIUS_SLACK, "comes {:,.0f} m lower"),
        (
            "max_radius",
            seen.largest_radius_m - limits.max_radius_m - _RADIUS_SLACK,
            "goes {:,.0f} m further out",
        ),
        ("separation", limits.separation_m - near, "comes {:,.0f} m too near to " + who),
    ]
    for limit, excess, text in checks:
        if excess > _SLACK * (1 + abs(excess)):
            return Broken(limit, excess, text.format(excess))
    return None


def _clearances(site: Range, burns: Burns, flown: Flown, arrival: float) -> Clearances:
    time, state = 0.0, site.start
    stretches: list[Stretch] = []
    for i in range(len(burns.sweeps)):
        ignition, length = float(flown.ignitions[i]), float(flown.durations[i])
        stretches.append(Stretch(time, ignition, state, None))
        stretches.append(Stretch(ignition, ignition + length, flown.lit[i], _thrust(burns, i)))
        time, state = ignition + length, flown.states[i]
    end = arrival + REVOLUTIONS * site.motion.period_s
    stretches.append(Stretch(time, end, state, None))
    return clearances(site.propagator, stretches, site.members)


def _thrust(burns: Burns, index: int) -> Thrust:
    direction = burns.dvs[index] / norm(burns.dvs[index])
    return _thrust_of(burns.engines[index], burns.steering[index], direction)


def _thrust_of(engine: Engine, steering: Steering, direction: Array) -> Thrust:
    return Thrust(
        thrust_n=engine.thrust_n, isp_s=engine.isp_s, steering=steering, direction=direction
    )


def _command(site: Range, label: str, burns: Burns, flown: Flown, index: int) -> Command:
    engine, size = burns.engines[index], float(norm(burns.dvs[index]))
    direction = burns.dvs[index] / size
    return Command(
        burn=label,
        engine=engine.name,
        ignition_s=float(flown.ignitions[index]),
        duration_s=float(flown.durations[index]),
        steering=burns.steering[index],
        direction=direction,
        dv_m_s=size,
        cutoff=engine.cutoff,
        watch=watch_of(
            flown.lit[index],
            flown.states[index],
            direction,
            burns.steering[index],
            site.propagator.gravity.gm,
        ),
    )


def watch_of(lit: Array, cut: Array, direction: Array, steering: Steering, gm: float) -> Watch:
    """The quantity that a burn moves most directly, and its value at a perfect cutoff.

    lit and cut are the states (7,) at its ignition and cutoff.
    """
    frame = rsw_frame(lit[:3], lit[3:6])
    local = direction if steering == "rsw" else frame @ direction
    forward = abs(float(dot(local, frame @ unit(lit[3:6]))))
    sideways = abs(float(local[2]))
    quantity: Quantity = "period_s"
    if sideways > forward:
        before = unit(cross(lit[:3], lit[3:6]))
        after = unit(cross(cut[:3], cut[3:6]))
        axis = unit(after - before)
        return Watch(quantity="tilt", target=float(dot(after, axis)), direction=axis)
    if forward > 0.3:
        return Watch(quantity=quantity, target=float(period_of(cut[:3], cut[3:6], gm)))
    radii = [apsis_radii(s[:3], s[3:6], gm) for s in (lit, cut)]
    moved = [abs(float(radii[1][i]) - float(radii[0][i])) for i in (0, 1)]
    return Watch(quantity="apsis_radius_m", target=float(radii[1][int(moved[1] > moved[0])]))
