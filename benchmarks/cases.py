"""The benchmark's cases: one line of planner_cases.csv is one case file. All are invented."""

from __future__ import annotations

import csv
import tempfile
from pathlib import Path

import simcheck
from simcheck.records.case import Case

HERE = Path(__file__).parent
CASES = HERE / "planner_cases.csv"

_TEMPLATE = """
[case]
title = "{name}"
[body]
name = "{body}"
forces = [{forces}]
[ring]
radius = "{ring_radius_km} km"
inclination = "{ring_inclination} deg"
raan = "{ring_raan} deg"
slots = {slots}
argument_of_latitude = "{latitude} deg"
[craft]
name = "C"
slot = {slot}
dry_mass = "180 kg"
propellant = "{propellant_kg} kg"
[craft.orbit]
periapsis_radius = "{periapsis_km} km"
apoapsis_radius = "{apoapsis_km} km"
inclination = "{inclination} deg"
raan = "{raan} deg"
argp = "{argp} deg"
true_anomaly = "{anomaly} deg"
[engine]
thrust = "{thrust_n} N"
isp = "320 s"
[tolerance]
phase = "0.5 deg"
period = "5 s"
eccentricity = 0.002
plane = "0.1 deg"
[limits]
duration = "{duration_h} h"
min_altitude = "{min_altitude_km} km"
max_radius = "{max_radius_km} km"
"""


def rows() -> list[dict[str, str]]:
    """The lines of the table."""
    with CASES.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def case_of(row: dict[str, str]) -> Case:
    """The case that a line describes, through a file as everyone else's."""
    forces = '"j2"' if row["j2"] == "yes" else ""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.toml"
        path.write_text(_TEMPLATE.format(forces=forces, **row), encoding="utf-8")
        return simcheck.load_case(path)
