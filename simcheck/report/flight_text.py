"""A flight and the verdict on it as text: what `simcheck check` and `simcheck fly` say."""

from __future__ import annotations

import math

from rich.console import RenderableType
from rich.text import Text

from simcheck.kernels.elements import classical_from_state
from simcheck.measuring import RingMotion
from simcheck.records.case import Case
from simcheck.records.flight import (
    NEAR,
    Approach,
    Arc,
    Decision,
    Flight,
    FlownErrors,
    Neighbour,
    Verdict,
)
from simcheck.records.plan import Plan
from simcheck.records.setback import Setback
from simcheck.records.sky import AU_M, SUN_PRESSURE_N_M2
from simcheck.report.judged_text import errors_text, limits_text, verdict_text
from simcheck.report.plan_text import header, totals
from simcheck.report.tables import facts, heading, note, stacked, table, word
from simcheck.report.words import (
    count,
    degrees,
    duration,
    fixed,
    kilograms,
    kilometres,
    share,
    significant,
    speed,
)

_MOST_MEMBERS = 12  # named in a table
_OUTCOMES = {
    "flown": "flown to its end",
    "out-of-propellant": "OUT OF PROPELLANT",
    "hit-the-body": "CAME DOWN ON THE BODY",
    "left-the-body": "LEFT THE BODY",
}
_ZONALS = ("j2", "j3", "j4")


def flight_text(
    case: Case,
    plan: Plan,
    flight: Flight,
    verdict: Verdict,
    ring: RingMotion,
    setbacks: tuple[Setback, ...] = (),
) -> RenderableType:
    """Everything that `simcheck check` says about a plan, its flight and the verdict."""
    return stacked(
        header(case, plan, ring),
        *_plan_in_short(case, plan),
        *_flown(case, flight),
        *errors_text(case, flight),
        *_neighbours(flight),
        *_approaches(case, flight),
        *limits_text(case, flight),
        *setbacks_text(setbacks),
        *_numerical(flight),
        *constants(case, ring),
        *verdict_text(case, verdict),
    )


def _plan_in_short(case: Case, plan: Plan) -> list[RenderableType]:
    commands = {command.burn: command for command in plan.commands}
    rows = []
    for burn in plan.burns:
        command = commands.get(burn.label)
        lasting = fixed(command.duration_s, 1) if command else ""
        engine = command.engine if command else "none"
        time, dv = duration(burn.time_s), fixed(burn.magnitude_m_s, 3)
        rows.append((burn.label, burn.purpose, time, dv, lasting, engine))
    names = ("burn", "purpose", ">after the epoch", ">Δv, m/s", ">lasting, s", "by")
    others = count(len(plan.alternatives), "alternative")
    return [
        heading("Plan"),
        table(names, rows) if rows else note("No burn is needed."),
        facts([(f"why {burn.label}", burn.reason) for burn in plan.burns]),
        *([note(f"{others} costed; `simcheck plan` lists them.")] if plan.alternatives else []),
        heading("Δv and propellant of the plan"),
        facts(totals(case, plan)),
    ]


def _flown(case: Case, flight: Flight) -> list[RenderableType]:
    who = "a perfect flight" if flight.sample is None else f"sample {flight.sample}"
    seed = "" if flight.sample is None else f", seed {flight.seed}"
    names = (
        "arc",
        ">after the epoch",
        ">lasting",
        ">Δv, m/s",
        ">propellant, kg",
        ">mass, kg",
        ">apsis altitudes, km",
    )
    ends = [
        ("flight", f"{who}{seed}, {_OUTCOMES[flight.outcome]}"),
        ("Δv used", speed(flight.dv_used_m_s)),
        ("propellant used", kilograms(flight.propellant_used_kg)),
        ("lowest altitude", kilometres(flight.lowest_altitude_m)),
        ("largest radius", kilometres(flight.largest_radius_m)),
        ("closest approach", _closest(flight)),
        *(("event" if k == 0 else "", event) for k, event in enumerate(flight.events)),
    ]
    rows = [_arc_row(case, arc) for arc in flight.arcs]
    return [heading("Flight"), table(names, rows), Text(), facts(ends), *_decisions(flight)]


def _decisions(flight: Flight) -> list[RenderableType]:
    """The team's log: what it believed would come of the burns left, what was true, what it did."""
    if not flight.decisions:
        return []
    names = ("after the epoch", "", ">phase, deg", ">period, s", ">eccentricity", ">plane, deg")
    rows: list[tuple[str, ...]] = []
    for decision in flight.decisions:
        rows.append((duration(decision.time_s), "believed", *_four(decision.believed)))
        rows.append(("", "true", *_four(decision.true)))
    reasons = [
        (f"{duration(one.time_s)}  {one.action}", f"{one.why}{_left(one)}")
        for one in flight.decisions
    ]
    said = (
        "Before each decision: the errors at the end if the burns left are flown perfectly, from"
        " the estimate and from the true state, which the team does not see."
    )
    return [heading("Decisions of the flight team"), table(names, rows), note(said), facts(reasons)]


def setbacks_text(setbacks: tuple[Setback, ...]) -> list[RenderableType]:
    """What losing each burn, or half of it, would take to recover from."""
    if not setbacks:
        return []
    rows = [
        (
            one.burn,
            "all" if one.lost >= 1.0 else "half" if one.lost == 0.5 else share(one.lost),
            fixed(one.dv_m_s, 1, sign=True) if one.recovered else "",
            fixed(one.days, 2, sign=True) if one.recovered else "",
            word(one.recovered, "kept", "NOT FOUND"),
            one.how,
        )
        for one in setbacks
    ]
    said = (
        "Noticed after the tracking that [operations] asks for, then planned anew in closed form"
        " only: a patient search may recover a little cheaper, or where nothing was found."
    )
    names = ("burn", "lost", ">Δv, m/s", ">days", "limits", "by")
    return [heading("If a burn is lost"), table(names, rows), note(said)]


def _four(errors: FlownErrors) -> tuple[str, ...]:
    return (
        fixed(errors.phase_deg, 3, sign=True),
        fixed(errors.period_s, 2, sign=True),
        fixed(errors.eccentricity, 5),
        fixed(errors.plane_deg, 4),
    )


def _left(decision: Decision) -> str:
    if not decision.burns:
        return "; no burn left"
    return f"; to fly: {', '.join(decision.burns)}"


def _closest(flight: Flight) -> str:
    if flight.closest_approach_m is None:
        return ""
    return f"{kilometres(flight.closest_approach_m)} to {flight.closest_member or 'a member'}"


def _arc_row(case: Case, arc: Arc) -> tuple[str, ...]:
    burns = arc.kind == "burn"
    used = fixed(arc.start.mass_kg - arc.end.mass_kg, 2) if burns else ""
    return (
        (arc.burn or "burn") if burns else "coast",
        duration(arc.start_s),
        duration(arc.end_s - arc.start_s),
        fixed(arc.dv_m_s, 3) if burns else "",
        used,
        fixed(arc.end.mass_kg, 2),
        _apsides(case, arc),
    )


def _apsides(case: Case, arc: Arc) -> str:
    """Osculating apsis altitudes at the end of an arc."""
    end = arc.end
    elements = classical_from_state(end.position_m, end.velocity_m_s, case.body.gm_m3_s2)
    low = float(elements.p / (1.0 + elements.e)) - case.body.radius_m
    high = float(elements.a * (1.0 + elements.e)) - case.body.radius_m
    far = fixed(high / 1e3, 1) if elements.e < 1.0 else "open"
    return f"{fixed(low / 1e3, 1)} x {far}"


def _neighbours(flight: Flight) -> list[RenderableType]:
    if not flight.neighbours:
        return []
    rows = [_neighbour_row(other) for other in flight.neighbours]
    names = ("member", ">nominal angle", ">as flown", ">difference")
    text = "Angles from the member to the craft, positive where the craft is ahead."
    return [heading("Neighbours at the end of the flight"), table(names, rows), note(text)]


def _neighbour_row(other: Neighbour) -> tuple[str, ...]:
    flown = fixed(other.phase_deg, 4, "deg", sign=True)
    if math.isnan(other.spacing_deg):
        return other.name, "on no slot", flown, ""
    difference = _turn(other.phase_deg - other.spacing_deg)
    nominal = degrees(other.spacing_deg, sign=True)
    return other.name, nominal, flown, fixed(difference, 4, "deg", sign=True)


def _approaches(case: Case, flight: Flight) -> list[RenderableType]:
    """Each member's closest approach, and how many others were near."""
    if not flight.approaches:
        return []
    near = NEAR * case.limits.separation_m
    names = (
        "member",
        ">closest, km",
        ">after the epoch",
        ">m/s",
        ">R, km",
        ">S, km",
        ">W, km",
        "in",
    )
    members = list(dict.fromkeys(one.member for one in flight.approaches))
    rows = []
    for member in members:
        some = [one for one in flight.approaches if one.member == member]
        one = min(some, key=lambda x: x.distance_m)
        row = (member, _km(one.distance_m), duration(one.time_s), fixed(one.relative_speed_m_s, 1))
        place = (_km(x, sign=True) for x in one.relative_rsw_m)
        rows.append((one.distance_m, (*row, *place, _during(flight, one))))
    rows.sort(key=lambda row: row[0])
    said = "The craft's place and speed against the member, in the member's RSW."
    if near > 0.0:
        close = sum(one.distance_m < near for one in flight.approaches)
        said += f" Approaches within {kilometres(near)}: {close}."
    if len(rows) > _MOST_MEMBERS:
        said += f" The {_MOST_MEMBERS} nearest of {len(rows)} members."
    shown = [row for _, row in rows[:_MOST_MEMBERS]]
    return [heading("Closest approach to each member"), table(names, shown), note(said)]


def _during(flight: Flight, one: Approach) -> str:
    """The arc of an approach: a burn by its name, a coast by the burns on either side."""
    if flight.arcs[one.arc].kind == "burn":
        return f"burn {flight.arcs[one.arc].burn}"
    before = [arc.burn for arc in flight.arcs[: one.arc] if arc.kind == "burn"]
    return f"after {before[-1]}" if before else "first coast"


def _km(metres: float, *, sign: bool = False) -> str:
    return fixed(metres / 1e3, 3, sign=sign)


def _turn(angle_deg: float) -> float:
    """An angle brought into -180 to 180 degrees."""
    return math.remainder(angle_deg, 360.0) if math.isfinite(angle_deg) else math.nan


def _numerical(flight: Flight) -> list[RenderableType]:
    metres = flight.engine_disagreement_m
    agreement = (
        "not flown with the reference propagator"
        if metres is None
        else f"the reference propagator ends {significant(metres, 'm')} away"
    )
    pairs = [("propagator", flight.propagator), ("agreement", agreement)]
    return [heading("Numerical agreement"), facts(pairs)]


def constants(case: Case, ring: RingMotion) -> list[RenderableType]:
    """The constants that act, each with its source, and the ring that follows from them."""
    body, sources = case.body, case.body.sources
    rows = [
        ("GM", f"{body.gm_m3_s2:.12e} m3/s2", sources.get("gm", "case file")),
        ("radius", kilometres(body.radius_m), sources.get("radius", "case file")),
    ]
    rows += [
        (name.upper(), f"{getattr(body, name):.6e}", sources.get(name, "case file"))
        for name in _ZONALS
        if name in case.forces
    ]
    rows += _sky_rows(case)
    rate = math.degrees(ring.node_rate) * 86400.0
    rows.append(("ring's node", significant(rate, "deg/day", sign=True), "from the forces above"))
    return [heading("Constants"), table(("constant", ">value", "source"), rows)]


def _sky_rows(case: Case) -> list[tuple[str, str, str]]:
    """The other bodies, the push of sunlight and where the axes point; none without a sky."""
    if case.sky is None:
        return []
    sky, rows = case.sky, list[tuple[str, str, str]]()
    for track in sky.pulling:
        rows.append((f"{track.name}'s GM", f"{track.gm_m3_s2:.12e} m3/s2", track.source))
    if sky.sun is not None and sky.sun not in sky.pulling:
        rows.append((sky.sun.name, "gives light", sky.sun.source))
    light = sky.sunlight
    if light is not None:
        given = light.pressure_n_m2 != SUN_PRESSURE_N_M2
        pressure = f"{light.pressure_n_m2:.5g} N/m2 at {light.distance_m / AU_M:.6g} au"
        by = "case file" if given else "1361 W/m2 (Kopp and Lean 2011)"
        rows.append(("area to mass", f"{light.area_to_mass_m2_kg:g} m2/kg", "case file"))
        rows.append(("reflectivity", f"{light.reflectivity:g}", "case file"))
        rows.append(("sunlight", pressure, by))
    return [*rows, ("axes", "", case.body.axes or "the case's own, z: the pole")]
