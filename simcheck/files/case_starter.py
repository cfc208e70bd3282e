"""A starter case: a commented case file made from a few answers, the rest from what goes with them.

Answers are text as the case file has it, keyed by question. What is not answered is chosen to suit
what is: any answers that the reader takes make a file that it takes. Every number chosen here is
invented; the propellant and the duration are ample rather than right.
"""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Mapping
from typing import NamedTuple

from simcheck.bodies import built_in
from simcheck.errors import InputError
from simcheck.files.case_starter_text import member_slots, starter_lines
from simcheck.files.case_toml import read_case
from simcheck.files.units import UnitError, parse
from simcheck.records.case import Body

Answers = Mapping[str, str]

QUESTIONS = (
    "body",
    "ring_period",
    "inclination",
    "raan",
    "slots",
    "slot",
    "members",
    "craft",
    "periapsis_altitude",
    "apoapsis_altitude",
    "craft_inclination",
    "dry_mass",
    "thrust",
    "isp",
    "propellant",
    "duration",
)
"""What is worth asking, in an order in which each default follows from the answers before it."""

UNASKED = ("ring_altitude", "craft_raan", "argp", "true_anomaly", "epoch", "title")
"""What can be given beside them; a ring_altitude stands instead of the ring_period."""

_G0 = 9.80665  # m/s2, BIPM
_RING_RADII, _PERIAPSIS_RADII = 3.0, 0.2  # of the body: the ring's radius, the periapsis altitude
_ABOVE_AIR_KM = {"Titan": 1500.0}  # where the air reaches higher than a fifth of the radius
_APOAPSIS = 1.2  # of the ring's altitude
_FLOOR = 0.7  # of the lower of the two altitudes, for [limits] min_altitude
_FAST_M_S = 500.0  # speed on the ring from which engine and tracking may be coarse
_REVOLUTIONS = 30  # of the ring, which the planner may take
_AMPLE = 1.4  # of the Δv of two impulses, for what phasing and errors take
_MOST_E_FOLDS = 3.0  # of the mass, whatever the answers
_NAME = "starter"
_FAULT = re.compile(rf"{_NAME}:(?:(\d+):)? ?(.*)", re.S)


class Fault(NamedTuple):
    """A fault of a starter case: the question that its line answers, empty where none does."""

    question: str
    message: str


def completed(given: Answers) -> dict[str, str]:
    """The answers with every other question answered by what goes with them."""
    body = _body(given)
    found = {"body": body.name, "inclination": "30 deg", "raan": "60 deg"} | dict(given)
    if "ring_altitude" not in given:
        period = math.tau * math.sqrt((_RING_RADII * body.radius_m) ** 3 / body.gm_m3_s2)
        found.setdefault("ring_period", f"{max(1, round(period / 3600.0))} h")
    _place(found)
    ring = _ring_radius(found, body)
    _orbit(found, body, (ring - body.radius_m) / 1e3)
    _masses(found, body, ring)
    period = math.tau * math.sqrt(ring**3 / body.gm_m3_s2)
    found["min_altitude"] = _min_altitude(found, (ring - body.radius_m) / 1e3)
    found.setdefault("duration", f"{max(1, math.ceil(_REVOLUTIONS * period / 86400.0))} d")
    where = "the Moon" if body.name == "Moon" else body.name
    found.setdefault("title", f"{found['craft']} joins a ring of relays about {where}")
    return found


def starter_text(given: Answers, file: str = "relay.toml") -> str:
    """The text of the case file; file: its name, for the commands that it mentions."""
    file = shlex.quote(file) if file.isprintable() else "FILE"
    return "".join(f"{line.text}\n" for line in starter_lines(completed(given), file))


def starter_faults(given: Answers) -> list[Fault]:
    """What the reader of case files says against the answers, in the order of the file.

    What only follows from a fault of an answer is left out.
    """
    lines = list(starter_lines(completed(given), "relay.toml"))
    text = "".join(f"{line.text}\n" for line in lines)
    try:
        read_case(text.encode("utf-8", "surrogatepass"), _NAME)
    except InputError as error:
        faults = [_fault(fault, [line.question for line in lines]) for fault in error.faults]
        return [fault for fault in faults if fault.question in given] or faults
    return []


def _fault(text: str, questions: list[str]) -> Fault:
    match = _FAULT.fullmatch(text)
    if match is None or match.group(1) is None:
        return Fault("", text.removeprefix(f"{_NAME}: "))
    return Fault(questions[int(match.group(1)) - 1], match.group(2))


# --------------------------------------------------------------------------- what is not answered


def _body(given: Answers) -> Body:
    try:
        return built_in(given.get("body", "Mars"))
    except InputError:
        return built_in("Mars")


def _si(text: str, kind: str, otherwise: float) -> float:
    """An answer in SI, `otherwise` where it is no such quantity."""
    try:
        return parse(text, kind)
    except UnitError:
        return otherwise


def _ring_radius(found: Answers, body: Body) -> float:
    """The ring's radius in m, two-body; that of the default where the answer gives none."""
    usual = _RING_RADII * body.radius_m
    if "ring_altitude" in found:
        radius = body.radius_m + _si(found["ring_altitude"], "length", usual - body.radius_m)
    else:
        period = _si(found["ring_period"], "time", math.nan)
        radius = math.cbrt(body.gm_m3_s2 * (period / math.tau) ** 2)
    return radius if radius > body.radius_m else usual


def _place(found: dict[str, str]) -> None:
    """Slots, the craft's own, the members on all others, and the craft's name."""
    taken = [int(one) for one in member_slots(found.get("members", "")) if one.isdecimal()][:1000]
    own = found.get("slot", "")
    if own.isdecimal():
        taken.append(int(own))
    found.setdefault("slots", str(max([3, *taken]) + 1))
    slots = int(found["slots"]) if found["slots"].isdecimal() and len(found["slots"]) < 4 else 4
    free = [slot for slot in reversed(range(slots)) if slot not in taken]
    found.setdefault("slot", str(free[0] if free else slots))
    others = [str(slot) for slot in range(slots) if str(slot) != found["slot"]]
    found.setdefault("members", ", ".join(others) or "none")
    found.setdefault("craft", f"R{found['slot']}")


def _orbit(found: dict[str, str], body: Body, ring_km: float) -> None:
    """The craft's orbit: below the ring and up to beyond it, five degrees off its plane."""
    lowest = _ABOVE_AIR_KM.get(body.name, _PERIAPSIS_RADII * body.radius_m / 1e3)
    ceiling = _si(found.get("apoapsis_altitude", ""), "length", math.inf) / 1e3
    periapsis = min(lowest, ring_km / 2.0, max(ceiling, 0.0) / 2.0)
    found.setdefault("periapsis_altitude", f"{_rounded(periapsis)} km")
    given = _si(found["periapsis_altitude"], "length", 0.0) / 1e3
    if _APOAPSIS * ring_km > given:
        found.setdefault("apoapsis_altitude", f"{_rounded(_APOAPSIS * ring_km)} km")
    found.setdefault("apoapsis_altitude", found["periapsis_altitude"])
    tilt = math.degrees(_si(found["inclination"], "angle", math.radians(30.0)))
    found.setdefault(
        "craft_inclination", f"{round(tilt - 5.0 if tilt >= 5.0 else tilt + 5.0, 3):g} deg"
    )
    found.setdefault("craft_raan", found["raan"])
    found.setdefault("argp", "75 deg")
    found.setdefault("true_anomaly", "200 deg")


def _min_altitude(found: Answers, ring_km: float) -> str:
    periapsis = _si(found["periapsis_altitude"], "length", 0.0) / 1e3
    return f"{_rounded(_FLOOR * min(periapsis, ring_km))} km"


def _masses(found: dict[str, str], body: Body, ring: float) -> None:
    """Engine, tracking and masses; the propellant is what two impulses take, and more."""
    fast = math.sqrt(body.gm_m3_s2 / ring) > _FAST_M_S
    found["initial_velocity"] = "0.03 m/s" if fast else "3 mm/s"
    found["navigation_position"] = "60 m" if fast else "10 m"
    found["navigation_velocity"] = "5 mm/s" if fast else "0.5 mm/s"
    usual = {"dry_mass": "300 kg", "thrust": "400 N" if fast else "22 N", "isp": "318 s"}
    for key, text in usual.items():
        found.setdefault(key, text)
    exhaust = _G0 * _si(found["isp"], "time", 318.0)
    folds = _AMPLE * _two_impulses(found, body, ring) / exhaust if exhaust > 0.0 else 0.0
    dry = _si(found["dry_mass"], "mass", 300.0)
    kilograms = max(dry, 0.0) * math.expm1(min(folds, _MOST_E_FOLDS))
    found.setdefault("propellant", f"{max(5, 10 * math.ceil(kilograms / 10.0))} kg")


def _two_impulses(found: Answers, body: Body, ring: float) -> float:
    """Δv in m/s of one burn at the apoapsis, the plane changed too, and one on the ring."""
    gm = body.gm_m3_s2
    low, high = (
        max(body.radius_m, body.radius_m + _si(found[key], "length", 0.0))
        for key in ("periapsis_altitude", "apoapsis_altitude")
    )
    one, two, node, other = (
        _si(found[key], "angle", 0.0)
        for key in ("inclination", "craft_inclination", "raan", "craft_raan")
    )
    turn = math.cos(one) * math.cos(two) + math.sin(one) * math.sin(two) * math.cos(node - other)
    before, after = (math.sqrt(2.0 * gm * r / (high * (high + r))) for r in (low, ring))
    first = math.sqrt(max(before**2 + after**2 - 2.0 * before * after * turn, 0.0))
    arriving = math.sqrt(2.0 * gm * high / (ring * (high + ring)))
    return first + abs(arriving - math.sqrt(gm / ring))


def _rounded(value: float) -> str:
    """A positive number rounded down to two digits."""
    if not value > 0.0:
        return "0"
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{math.floor(value / step * (1.0 + 1e-12)) * step:.12g}"
