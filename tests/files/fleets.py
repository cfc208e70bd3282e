"""Case files with several craft for tests; every name and number is invented."""

from __future__ import annotations

HEAD = """\
[case]
title = "invented for a test"
epoch = "2036-02-17T12:00:00"
[body]
name = "Mars"
[ring]
period = "10 h"
inclination = "35 deg"
raan = "60 deg"
slots = 4
"""
ENGINE = '[engine]\nthrust = "400 N"\nisp = "318 s"\n'
TAIL = """\
[tolerance]
phase = "0.5 deg"
period = "5 s"
eccentricity = 0.002
plane = "0.1 deg"
[limits]
duration = "4 d"
"""
_ORBITS = {
    "Heron": ("540", "11300", "30", "50", "48", "130"),
    "Egret": ("1900", "9400", "33", "56", "170", "265"),
}


def craft(name: str, *lines: str, orbit: str = "", propellant: str = "300 kg") -> str:
    """A [[craft]] with an orbit of its own name, or of another's."""
    low, high, i, node, apsis, nu = _ORBITS[orbit or name]
    more = "".join(f"{line}\n" for line in lines)
    return f"""\
[[craft]]
name = "{name}"
dry_mass = "310 kg"
propellant = "{propellant}"
{more}[craft.orbit]
periapsis_altitude = "{low} km"
apoapsis_altitude = "{high} km"
inclination = "{i} deg"
raan = "{node} deg"
argp = "{apsis} deg"
true_anomaly = "{nu} deg"
"""


def member(name: str, slot: int) -> str:
    """A [[ring.member]] on its slot."""
    return f'[[ring.member]]\nname = "{name}"\nslot = {slot}\n'


TWO = (craft("Heron"), craft("Egret"))


def text(*members: str, head: str = HEAD, engine: str = ENGINE, tail: str = TAIL) -> str:
    """A whole file with these craft (or other tables), two if none is given."""
    return head + "".join(members or TWO) + engine + tail
