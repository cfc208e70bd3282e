"""Trims: the cheapest burns that bring a craft near its slot into it, for each time to wait.

Near the ring all four errors are linear in small burns, so one linear problem holds every trim of
the trade and their combinations: a period changed for k revolutions works off a phase, one burn
along the track sets the period, a pair of them the eccentricity, a burn at the node the plane;
where burns can be shared they are. Errors well inside their tolerance are left there, the others
are brought to zero. The burns are then aimed in the case's forces like any plan's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simcheck.arrays import Array
from simcheck.engines.base import G0
from simcheck.kernels.kepler import propagate
from simcheck.kernels.near_circular import (
    NORMAL_X,
    NORMAL_Y,
    PERIOD,
    PHASE,
    H,
    K,
    SmallBurn,
    cheapest,
    fewer,
    responses,
    total,
)
from simcheck.kernels.transfers import coast_time
from simcheck.kernels.vectors import TAU, cross, unit, wrap
from simcheck.measuring import Averages, average, slot_period
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.commanding import Aimed, Range, command
from simcheck.records.case import Tolerance

MARGIN = 0.5
"""Share of a tolerance within which an error is left alone, since estimates err too."""

WAITS = (0.5, 1, 2, 3, 5, 10, 20, 30, 50, 100)
"""Revolutions over which trims are looked for."""

_GRID = 48  # possible burns a revolution
_DENSE, _SPARSE = 2, 150  # revolutions at either end with all of them, and how many between
_TOGETHER = np.radians(30.0)  # within which burns are made as one
_DEARER, _DEARER_M_S = 0.08, 0.05  # share and m/s that a trim may cost more for having fewer burns
_CHEAPER = 0.03  # a longer wait has to save this share to be worth a row
_LEAD = 0.02  # revolutions before the first: time to command it
_NEAR = 0.03  # eccentricity, tilt in rad and relative period up to which a craft is near the ring
_ROWS: dict[str, tuple[int, ...]] = {
    "phase_rad": (PHASE,),
    "period_s": (PERIOD,),
    "eccentricity": (K, H),
    "plane_rad": (NORMAL_X, NORMAL_Y),
}


class Ambition(NamedTuple):
    """How well to trim, in shares of a tolerance.

    An error that is fine may grow to `fine` if that saves a burn, one that is not is brought to
    `broken`; burns are aimed within `goal`: nearer would cost more than it is worth.
    """

    fine: float
    broken: float
    goal: float


GOOD, JUST = Ambition(0.2, 0.0, 0.25), Ambition(0.7, 0.7, 0.85)
"""What a trim is to reach, and what has to do where too few burns are left for that."""


class Standing(NamedTuple):
    """A craft against its slot: the six errors (6,) at `time`, and the averages behind them.

    errors: mean longitude, relative period, eccentricity vector (k, h), the normal's x and y;
    longitude is the craft's, in the ring frame, at time 0.
    """

    errors: Array
    longitude: float
    averages: Averages

    @property
    def near(self) -> bool:
        """Whether the errors are small enough to be linear."""
        e = self.errors
        parts = (e[PERIOD], np.hypot(e[K], e[H]), np.hypot(e[NORMAL_X], e[NORMAL_Y]))
        return bool(np.max(np.abs(parts)) < _NEAR)

    def ahead(self, angle: float) -> Array:
        """The errors (6,) after the slot has moved on by `angle` (rad), nothing being done."""
        errors = self.errors.copy()
        errors[PHASE] -= errors[PERIOD] * angle
        return errors


class Trim(NamedTuple):
    """One way to trim: revolutions waited, and burns at places of a grid of angles (n,) swept.

    Their Δv (3,) are in RSW over the circular speed in m/s. longitude is the craft's in the ring
    frame before the first angle; errors (6,) are what doing nothing would leave at the end.
    """

    revolutions: float
    angles: Array
    longitude: float
    errors: Array
    speed: float
    burns: list[SmallBurn]

    @property
    def dv(self) -> float:
        """Sum of the impulses, m/s."""
        return self.speed * total(self.burns)

    @property
    def route(self) -> str:
        """What it is called."""
        return f"trims within {self.revolutions:g} rev"

    @property
    def arrival(self) -> float:
        """Angle swept to the last burn, rad."""
        return float(self.angles[self.burns[-1].place])


def standing(site: Range) -> Standing:
    """Where the craft of the site's case stands against its slot, at the case's epoch.

    Raises FlightError where its orbit is not closed.
    """
    motion = site.motion
    found = average(site.propagator, 0.0, site.start, motion)
    longitude = found.longitude - TAU / found.period * found.time
    phase = float(wrap(longitude - motion.longitude(site.case.craft.slot, 0.0)))
    late = found.period / float(slot_period(motion, found.time, found.period)) - 1
    errors = np.array([phase, late, *found.e_vector, *found.normal[:2]])
    return Standing(errors, longitude, found)


def trims(site: Range, waits: tuple[float, ...] = WAITS) -> list[Trim]:
    """The cheapest trims for each wait that the time allowed has room for, shortest wait first.

    A wait is left out where a shorter one is as cheap. Raises FlightError where the craft's orbit
    is not closed.
    """
    stand, room = standing(site), site.case.limits.duration_s / site.motion.period_s
    found: list[Trim] = []
    for wait in waits:
        if wait + _LEAD > room:
            break
        trim = _trim(site, stand, wait)
        if trim is None or (found and trim.dv > found[-1].dv * (1 - _CHEAPER)):
            continue
        found.append(trim)
    return found


def shortest_wait(site: Range) -> float:
    """The time in s that the shortest trim takes."""
    return (WAITS[0] + _LEAD) * site.motion.period_s


def in_place(site: Range) -> bool:
    """Whether every error is fine, and stays so until a first trim could end."""
    stand = standing(site)
    errors = stand.ahead(TAU * (_LEAD + WAITS[0]))
    low, high = bounds(site.case.tolerance, site.motion.period_s, errors)
    return bool(np.all((low <= errors) & (errors <= high)))


def aim_trim(site: Range, trim: Trim, ambition: Ambition = GOOD) -> tuple[Candidate, Aimed]:
    """The trim's impulses in two-body motion, and its commands, with the limit they break if any.

    Raises FlightError where the aiming does not converge.
    """
    candidate = _dated(site, trim)
    return candidate, command(site, candidate, trim_goal=ambition.goal)


def sparser(site: Range, trim: Trim, ambition: Ambition = GOOD) -> Trim:
    """The trim with as few burns as cost little more and reach what is to be reached."""
    effects, goal = _posed(site, trim, ambition.fine, ambition.broken)
    if np.all((goal[0] <= 0) & (goal[1] >= 0)):
        return trim  # nothing would do: not a trim any more
    most = (1 + _DEARER) * total(trim.burns) + _DEARER_M_S / trim.speed
    return trim._replace(burns=fewer(effects, trim.burns, *goal, most))


def by_preference(found: list[Trim], indifferent_m_s: float) -> list[Trim]:
    """The trims in the order to try: the shortest wait nearly as cheap as the cheapest first."""
    least = min((trim.dv for trim in found), default=np.inf)
    cheap = [trim for trim in found if trim.dv <= least + indifferent_m_s]
    return cheap + sorted((t for t in found if t not in cheap), key=lambda trim: trim.dv)


def tank_dv(site: Range) -> float:
    """The Δv in m/s that the propellant left is good for."""
    craft = site.case.craft
    return float(G0 * site.case.engine.isp_s * np.log(craft.mass_kg / craft.dry_mass_kg))


def bounds(
    tolerance: Tolerance,
    motion_period: float,
    errors: Array,
    fine: float = 0.0,
    broken: float = 0.0,
) -> tuple[Array, Array]:
    """Lowest and highest value (6,) that each error may be left with; infinite where it is free.

    An error inside `MARGIN` of its tolerance may stay, shrink, or grow to the share `fine` of it;
    another has to come within the share `broken`.
    """
    low, high = np.full(6, -np.inf), np.full(6, np.inf)
    for name, rows in _ROWS.items():
        allowed = getattr(tolerance, name)
        if allowed is None:
            continue
        allowed /= motion_period if name == "period_s" else 1.0
        if float(np.sqrt(np.sum(errors[list(rows)] ** 2))) >= MARGIN * allowed:
            high[list(rows)] = broken * allowed / np.sqrt(len(rows))
            low[list(rows)] = -high[list(rows)]
            continue
        room = fine * allowed / np.sqrt(len(rows))
        for row in rows:
            low[row], high[row] = min(float(errors[row]), -room), max(float(errors[row]), room)
    return low, high


def _trim(site: Range, stand: Standing, wait: float) -> Trim | None:
    """The cheapest impulses over a wait in revolutions.

    Radial parts are left out where there is a revolution or more: they would save 0.2 % of a change
    of phase, and nothing of any other change.
    """
    angles = TAU * (_LEAD + _grid(wait))
    speed = float(np.sqrt(site.case.body.gm_m3_s2 / site.motion.radius_m))
    errors = stand.ahead(float(angles[-1]))
    trim = Trim(wait, angles, stand.longitude, errors, speed, [])
    effects, goal = _posed(site, trim, 0.0, 0.0)
    first = 0 if wait < 1 else 1
    burns = cheapest(effects[:, :, first:], *goal)
    if not burns:
        return None
    burns = [SmallBurn(b.place, np.append(np.zeros(first), b.dv)) for b in _merged(angles, burns)]
    return trim._replace(burns=burns)


def _grid(wait: float) -> Array:
    """Places in revolutions at which burns are possible: fewer of them in the midst of a long wait.

    What needs time is begun early and ended late; the rest can be done at any revolution.
    """
    if wait <= 2 * _DENSE:
        return np.linspace(0.0, wait, int(_GRID * wait) + 1)
    dense = np.linspace(0.0, _DENSE, int(_GRID * _DENSE) + 1)
    middle = np.arange(_DENSE, wait - _DENSE, max(wait / _SPARSE, 1 / _GRID))[1:]
    return np.concatenate([dense, middle, wait - dense[::-1]])


def _merged(angles: Array, burns: list[SmallBurn]) -> list[SmallBurn]:
    """Burns within a small angle of each other become one, between them."""
    groups: list[list[SmallBurn]] = []
    for burn in burns:
        if groups and angles[burn.place] - angles[groups[-1][0].place] <= _TOGETHER:
            groups[-1].append(burn)
        else:
            groups.append([burn])
    found = []
    for group in groups:
        sizes = np.array([np.linalg.norm(burn.dv) for burn in group])
        middle = float(sizes @ [angles[burn.place] for burn in group] / sizes.sum())
        place = int(np.argmin(np.abs(angles - middle)))
        found.append(SmallBurn(place, np.sum([burn.dv for burn in group], axis=0)))
    return found


def _posed(
    site: Range, trim: Trim, fine: float, broken: float
) -> tuple[Array, tuple[Array, Array]]:
    """Effects (n, m, 3) of burns at the trim's angles, and the least and largest change wanted."""
    low, high = bounds(site.case.tolerance, site.motion.period_s, trim.errors, fine, broken)
    aimed, left = np.isfinite(low), trim.angles[-1] - trim.angles
    effects = responses(trim.longitude + trim.angles, left)[:, aimed]
    return effects, ((low - trim.errors)[aimed], (high - trim.errors)[aimed])


def _dated(site: Range, trim: Trim) -> Candidate:
    """The trim's impulses, dated in two-body motion."""
    gm, time, at = site.case.body.gm_m3_s2, 0.0, 0.0
    r, v = site.case.craft.position_m, site.case.craft.velocity_m_s
    impulses = []
    for place, dv in trim.burns:
        angle = float(trim.angles[place])
        tof = coast_time(r, v, angle - at, gm)
        r, v = propagate(r, v, tof, gm)
        time, at = time + tof, angle
        up, pole = unit(r), unit(cross(r, v))
        after = v + trim.speed * (dv[0] * up + dv[1] * cross(pole, up) + dv[2] * pole)
        impulses.append(Impulse("trim", r, v, after, time))
        v = after
    return Candidate(trim.route, tuple(impulses), (), None)
