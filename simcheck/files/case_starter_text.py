"""The text of a starter case: a line of comment for each table, optional tables switched off."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from simcheck.files.settings_text import text_of

_TEMPLATE = """
# A starter case, written by `simcheck new`. Craft, orbits and engine are invented: put yours in
# their place. A value with a dimension is text with its unit, any usual one. A line that begins
# with # and a key is switched off: take the # away to use it.
# Next: simcheck check {file}

# The case's name and date. Without an epoch, times count from the craft's state.
[case]
title = {title}
{epoch}

# The planet or moon, and what acts beside its central gravity: "j2", "j3", "j4", and with an epoch
# "third-bodies" and "sunlight-pressure" (which needs [sunlight]).
[body]
name = {body}
forces = ["j2"]

# The ring to join: its size (one of period, radius, altitude), its plane, and how many relays it is
# for. Slot k lies k * 360 deg / slots ahead of slot 0, which is here at the epoch:
[ring]
{ring_size}
inclination = {inclination}
raan = {raan}
slots = {slots}
argument_of_latitude = "0 deg"

# The relays that are there already, each on its slot.
{members}

# The craft, the slot that it is to reach, and its masses.
[craft]
name = {craft}
slot = {slot}
dry_mass = {dry_mass}
propellant = {propellant}

# Its orbit now: osculating at the epoch, altitudes above the body's radius.
[craft.orbit]
periapsis_altitude = {periapsis_altitude}
apoapsis_altitude = {apoapsis_altitude}
inclination = {craft_inclination}
raan = {craft_raan}
argp = {argp}
true_anomaly = {true_anomaly}

# The main engine, and which burns it can make.
[engine]
thrust = {thrust}
isp = {isp}
#min_burn = "0.5 s"
#max_burn = "30 min"

# Smaller engines for small burns.
#[thrusters]
#thrust = "10 N"
#isp = "215 s"

# What must be met at the end; what is not listed is neither aimed at nor judged.
[tolerance]
phase = "0.5 deg"
period = "5 s"
eccentricity = 0.002
plane = "0.1 deg"

# What must be kept on the way; there is also max_radius.
[limits]
duration = {duration}
min_altitude = {min_altitude}
#dv = "5 km/s"
#separation = "20 km"                # from every member

# What is not perfect, 1 sigma: for simcheck fly {file} --sample 0, and for disperse.
#[errors]
#thrust_bias = "0.8 %"
#magnitude_proportional = "0.3 %"
#pointing_proportional = "0.4 deg"
#initial_position = "150 m"
#initial_velocity = {initial_velocity}
#navigation_position = {navigation_position}
#navigation_velocity = {navigation_velocity}

# A flight team that tracks, replans after each burn and trims; without it nothing is corrected.
#[operations]
#replan = "each-burn"
#max_trims = 6
#settle = "1 rev"

# How sure you want to be, and the Δv held back: for simcheck disperse {file}
#[dispersion]
#samples = 1000
#success = "99 %"
#confidence = "90 %"
#margin = "5 %"

# How long the finished ring is followed: simcheck hold {file}
#[hold]
#duration = "2 yr"

# What the finished ring must serve: how low a link may pass, how far it reaches, who sees it.
#[network]
#grazing_height = "50 km"
#max_range = "60000 km"
#min_elevation = "10 deg"

# A place on the ground whose contacts are wanted; one such table each.
#[[site]]
#name = "Base"
#latitude = "18 deg"
#longitude = "77 deg"
"""

_NO_EPOCH = '#epoch = "2034-09-03T00:00:00"       # TDB'
_NO_MEMBER = ("#[[ring.member]]", '#name = "A relay"')
_CHOSEN = ("min_altitude", "initial_velocity", "navigation_position", "navigation_velocity")
_HOLE = re.compile(r"\{(\w+)\}")


class Line(NamedTuple):
    """A line of the file, and the question that it answers, empty where it answers none."""

    text: str
    question: str


def starter_lines(answers: Mapping[str, str], file: str) -> Iterator[Line]:
    """The file line by line, from complete answers (`case_starter.completed`); file: its name."""
    fixed = {"file": file} | {key: text_of(answers[key]) for key in _CHOSEN}
    for line in _TEMPLATE.strip("\n").split("\n"):
        hole = _HOLE.search(line)
        name = hole.group(1) if hole else ""
        if name in _BLOCKS:
            yield from _BLOCKS[name](answers)
        elif name in fixed:
            yield Line(line.replace(f"{{{name}}}", fixed[name]), "")
        elif name:
            yield Line(line.replace(f"{{{name}}}", _value(name, answers[name])), name)
        else:
            yield Line(line, "")


def member_slots(text: str) -> list[str]:
    """The slots in an answer such as "0, 1, 3"; none of them where it is blank or "none"."""
    text = text.strip(" ,")
    return [] if text.lower() in {"", "none"} else re.split(r"[\s,]+", text)


def _value(name: str, text: str) -> str:
    """An answer as TOML: a whole number as it stands, anything else in quotes."""
    if name in {"slots", "slot"} and re.fullmatch(r"0|-?[1-9][0-9]{0,17}", text.strip()):
        return text.strip()
    return text_of(text)


def _epoch(answers: Mapping[str, str]) -> Iterator[Line]:
    given = answers.get("epoch")
    yield Line(_NO_EPOCH if given is None else f"epoch = {text_of(given)}", "epoch")


def _ring_size(answers: Mapping[str, str]) -> Iterator[Line]:
    name = "ring_altitude" if "ring_altitude" in answers else "ring_period"
    yield Line(f"{name.removeprefix('ring_')} = {text_of(answers[name])}", name)


def _members(answers: Mapping[str, str]) -> Iterator[Line]:
    slots = member_slots(answers["members"])
    texts: list[str] = []
    if not slots and answers["slots"] != "1":
        free = "1" if answers["slot"] == "0" else "0"
        texts = [*_NO_MEMBER, f"#slot = {free}"]
    for k, slot in enumerate(slots):
        name = f"R{slot}"
        name = f"Relay {slot}" if name == answers["craft"] else name
        name += f" ({k + 1})" if slot in slots[:k] else ""
        texts += [""] * (k > 0)
        texts += ["[[ring.member]]", f"name = {text_of(name)}", f"slot = {_value('slot', slot)}"]
    for text in texts:
        yield Line(text, "members")


_BLOCKS = {"epoch": _epoch, "ring_size": _ring_size, "members": _members}
