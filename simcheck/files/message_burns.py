"""Manoeuvres of a message to commands of a case, by flying them one after another.

A burn is made by the case's engine, for as long as that takes for its Δv, centred on the
manoeuvre: on ignition + duration/2 of a finite burn, on the date of an impulse. An orbit
comprehensive message applies a Δv at its time + MAN_DURA/2, which is the same place.

RSW and RTN (radial, along-track, cross-track) and TNW turn with the craft, alone or followed by
_ROTATING: the first two are the steering "rsw"; TNW is held against RSW as it is halfway through
the burn, and it is told where it turns against RSW meanwhile. Followed by _INERTIAL they are the
axes frozen at ignition. All other frames are inertial ones as in `simcheck.files.message_axes`. An
impulse that takes the case's engine more than 10 deg of the orbit turns with RSW, as those of the
planner do, whatever its frame.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0, Propagator, Steering, Thrust
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.errors import FlightError
from simcheck.files.epochs import Instant
from simcheck.files.kvn import KvnFaults
from simcheck.files.message_axes import into_case_axes
from simcheck.files.message_engine import LATEST_S, OVERLAP_S, SAME, early, refused, size_of, told
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.files.records_json import shown
from simcheck.kernels.vectors import angle_between, cross, norm, rsw_frame, tnw_frame
from simcheck.planning.burns import TURNING_FROM, burn_seconds, chosen_engine
from simcheck.planning.commanding import watch_of
from simcheck.records.case import Case, Engine
from simcheck.records.plan import Command

TURNING = {
    **dict.fromkeys(("RSW", "RTN", "RSW_ROTATING", "RTN_ROTATING"), rsw_frame),
    **dict.fromkeys(("TNW", "TNW_ROTATING"), tnw_frame),
}
FROZEN = {
    **dict.fromkeys(("RSW_INERTIAL", "RTN_INERTIAL"), rsw_frame),
    "TNW_INERTIAL": tnw_frame,
}
_LOCAL = "RSW, RTN, TNW or these with _ROTATING or _INERTIAL"
_TURN_DEG = 0.1  # by which TNW may turn against RSW in a burn before it is told
_PASSES = 12  # in which TNW halfway through a burn settles
_MOST = 0.99  # of the craft that may be burnt: more is a mistake, and no mass would be left to fly


class Made(NamedTuple):
    """A command with the state (7,) at its ignition, what it is for, and what is to be told."""

    command: Command
    lit: Array
    purpose: str
    frame: str
    notes: tuple[str, ...]


class Flown(NamedTuple):
    """Where the case's craft is, with the commands up to there flown: time and state (7,)."""

    time: float
    state: Array


class Flying:
    """The case's craft flown along the commands of a message, from its epoch on."""

    def __init__(self, case: Case, epoch: Instant, frame_epoch: Instant, faults: KvnFaults) -> None:
        self.case, self.epoch, self.frame_epoch, self.faults = case, epoch, frame_epoch, faults
        self.propagator: Propagator = fast_propagator(gravity_of(case))
        craft = case.craft
        start = np.concatenate([craft.position_m, craft.velocity_m_s, [craft.mass_kg]])
        self.way = [Flown(0.0, start)]
        self.made: list[Made] = []

    def add(self, manoeuvre: Manoeuvre, label: str) -> None:
        """Command the next manoeuvre and fly it; a fault where that cannot be."""
        try:
            reason = self._add(manoeuvre, label)
        except FlightError as error:
            reason = f"the flight up to this manoeuvre cannot be computed: {error}"
        if reason:
            self.faults.add(manoeuvre.line, reason)

    def state_at(self, time: float) -> Array:
        """The state (7,) at a time in s past the epoch, burns that began before it flown.

        Raises FlightError where it cannot be computed.
        """
        before = [k for k, made in enumerate(self.made) if made.command.ignition_s < time]
        if not before:
            return self.propagator.advance(*self.way[0], time).state
        made, (cutoff, state) = self.made[before[-1]], self.way[before[-1] + 1]
        if time >= cutoff:
            return self.propagator.advance(cutoff, state, time).state
        command = made.command
        thrust = _thrust(self._engine(command.engine), command.steering, command.direction)
        return self.propagator.advance(command.ignition_s, made.lit, time, thrust).state

    def _add(self, man: Manoeuvre, label: str) -> str:
        """What is wrong; empty where the manoeuvre was flown."""
        now, state = self.way[-1]
        starts, mass = man.starts(self.epoch), float(state[6])
        size = size_of(man, mass)
        reason = refused(starts, man.duration_s, size)
        if reason:
            return reason
        engine = self._who(man, size, mass)
        length = burn_seconds(size, mass, engine)
        if size > -G0 * engine.isp_s * math.log(1.0 - _MOST) or length > LATEST_S:
            return (
                f"a Δv of {size:.6g} m/s would burn {-math.expm1(-size / (G0 * engine.isp_s)):.2%} "
                f"of the craft and take {length:.3g} s with the {engine.name} of the case"
            )
        middle = starts + 0.5 * man.duration_s
        ignition = middle - 0.5 * length
        if abs(length - man.duration_s) <= SAME * man.duration_s:
            ignition, length = starts, man.duration_s  # every digit of ours comes back
        if ignition < now - OVERLAP_S:
            return early(now - ignition, engine, length, first=not self.made)
        ignition = max(ignition, now)
        lit = self.propagator.advance(now, state, ignition).state
        try:
            steering, direction, notes = self._steered(man, size, engine, (ignition, length), lit)
        except ValueError as error:
            return f"got the frame {shown(man.frame)}, {error}, or {_LOCAL}"
        self._fly(label, engine, (ignition, length), (steering, direction), size, lit)
        self.made[-1] = self.made[-1]._replace(
            purpose=man.purpose or "as in the message",
            frame=man.frame,
            notes=(*told(man, engine, length, mass, float(self.way[-1].state[6])), *notes),
        )
        return ""

    def _fly(
        self,
        label: str,
        engine: Engine,
        span: tuple[float, float],
        how: tuple[Steering, Array],
        size: float,
        lit: Array,
    ) -> None:
        (ignition, length), (steering, direction) = span, how
        thrust = _thrust(engine, steering, direction)
        cut = self.propagator.advance(ignition, lit, ignition + length, thrust).state
        command = Command(
            burn=label,
            engine=engine.name,
            ignition_s=ignition,
            duration_s=length,
            steering=steering,
            direction=direction,
            dv_m_s=size,
            cutoff=engine.cutoff,
            watch=watch_of(lit, cut, direction, steering, self.propagator.gravity.gm),
        )
        self.made.append(Made(command, lit, "", "", ()))
        self.way.append(Flown(ignition + length, cut))

    def _engine(self, name: str) -> Engine:
        thrusters = self.case.thrusters
        return thrusters if name == "thrusters" and thrusters is not None else self.case.engine

    def _who(self, man: Manoeuvre, size: float, mass: float) -> Engine:
        """Who makes it: the device named, or who comes nearest to its duration, or who can."""
        engine, thrusters = self.case.engine, self.case.thrusters
        device = (man.device or "").casefold()
        if thrusters is None or device == "engine":
            return engine
        if device == "thrusters":
            return thrusters
        if man.duration_s > 0.0:
            lengths = {who: burn_seconds(size, mass, who) for who in (engine, thrusters)}
            return min(lengths, key=lambda who: abs(math.log(lengths[who] / man.duration_s)))
        return chosen_engine(size, mass, engine, thrusters)

    def _steered(
        self,
        man: Manoeuvre,
        size: float,
        engine: Engine,
        span: tuple[float, float],
        lit: Array,
    ) -> tuple[Steering, Array, tuple[str, ...]]:
        """Steering, unit direction in its axes, and what is to be told.

        Raises ValueError with a reason for a frame that is not read.
        """
        vector = man.dv_m_s if man.dv_m_s is not None else man.thrust_n
        along = np.asarray(vector) / norm(np.asarray(vector))
        name, starts = man.frame.upper(), man.starts(self.epoch)
        if man.duration_s == 0.0:
            return *self._impulse(man, size * along, span, starts), ()
        if name in FROZEN:
            there = self.propagator.advance(*self.way[-1], max(starts, self.way[-1].time)).state
            return "inertial", FROZEN[name](there[:3], there[3:6]).T @ along, ()
        if name not in TURNING:
            return "inertial", self._inertial(man) @ along, ()
        if TURNING[name] is rsw_frame:
            return "rsw", along, ()
        return self._tangential(along, engine, span, lit)

    def _inertial(self, man: Manoeuvre) -> Array:
        date = man.frame_epoch or self.frame_epoch
        return into_case_axes(man.frame, self.case.body, date, self.epoch)

    def _impulse(
        self, man: Manoeuvre, dv: Array, span: tuple[float, float], date: float
    ) -> tuple[Steering, Array]:
        """An impulse: its axes are those of its date, where a coast leads."""
        there = self.propagator.advance(*self.way[-1], max(date, self.way[-1].time)).state
        r, v = there[:3], there[3:6]
        make = TURNING.get(man.frame.upper()) or FROZEN.get(man.frame.upper())
        inertial = make(r, v).T @ dv if make else self._inertial(man) @ dv
        if norm(cross(r, v)) / norm(r) ** 2 * span[1] > TURNING_FROM:
            turned = rsw_frame(r, v + 0.5 * inertial) @ inertial
            return "rsw", turned / norm(turned)
        return "inertial", inertial / norm(inertial)

    def _tangential(
        self, along: Array, engine: Engine, span: tuple[float, float], lit: Array
    ) -> tuple[Steering, Array, tuple[str, ...]]:
        """A direction in TNW as one in RSW, the same halfway through the burn."""
        ignition, length = span
        direction = along
        for _ in range(_PASSES):
            thrust = _thrust(engine, "rsw", direction)
            middle = self.propagator.advance(ignition, lit, ignition + length / 2, thrust).state
            direction = _against(middle) @ along
            direction = direction / norm(direction)
        thrust = _thrust(engine, "rsw", direction)
        cut = self.propagator.advance(ignition, lit, ignition + length, thrust).state
        turn = math.degrees(float(angle_between(_against(lit) @ along, _against(cut) @ along)))
        if turn <= _TURN_DEG:
            return "rsw", direction, ()
        turned = (
            f"TNW turns by {turn:.2g} deg against RSW in the burn and is held as halfway through"
        )
        return "rsw", direction, (turned,)


def _against(state: Array) -> Array:
    """From TNW to RSW at a state (7,)."""
    r, v = state[:3], state[3:6]
    return np.asarray(rsw_frame(r, v) @ tnw_frame(r, v).T)


def _thrust(engine: Engine, steering: Steering, direction: Array) -> Thrust:
    return Thrust(
        thrust_n=engine.thrust_n, isp_s=engine.isp_s, steering=steering, direction=direction
    )
