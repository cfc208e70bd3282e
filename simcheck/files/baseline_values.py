"""The values and allowances of a baseline: text with a unit to a number in records, and back."""

from __future__ import annotations

import json
import math

from simcheck.files.case_faults import shown
from simcheck.files.case_tables import Table
from simcheck.files.units import UnitError, parse
from simcheck.records.measures import MEASURES, UNKNOWN, Allowance, Measure, Value

_SHOWN: dict[str, tuple[str, float]] = {
    "speed": ("m/s", 1.0),
    "time": ("s", 1.0),
    "length": ("km", 1e3),
    "angle": ("deg", 1.0),
    "mass": ("kg", 1.0),
    "share": ("%", 1e-2),
}
"""The unit that a kind is written in, and its size in the unit of records."""

_CHOICES = {"plan.result": ("planned", "no plan"), "flight.verdict": ("within", "outside")}
_EXAMPLES = {"word": '"duration"', "count": "3", "number": "0.001"}


def written(measure: Measure, value: Value) -> str:
    """A value as it stands in the file."""
    if isinstance(value, str):
        return quoted(value)
    if math.isnan(value):
        return quoted(UNKNOWN)
    if measure.kind not in _SHOWN:
        return f"{value:.12g}"
    unit, size = _SHOWN[measure.kind]
    return f'"{value / size:.12g} {unit}"'


def quoted(text: str) -> str:
    """Text as a TOML string; JSON's escapes are TOML's but for the one that it leaves out."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_values(top: Table) -> dict[str, Value]:
    """Every value of the file by its path, in the order of the measures."""
    values: dict[str, Value] = {}
    for group, measures in _by_group().items():
        missing = 'write [plan] with result = "planned"' if group == "plan" else ""
        table = top.table(group, missing)
        if table is None:
            continue
        if group == "burn":
            values |= _read_burns(table, measures)
        else:
            values |= _read_group(table, group, measures)
    return values


def _by_group() -> dict[str, list[Measure]]:
    groups: dict[str, list[Measure]] = {}
    for measure in MEASURES.values():
        groups.setdefault(measure.group, []).append(measure)
    return groups


def _read_burns(table: Table, measures: list[Measure]) -> dict[str, Value]:
    values: dict[str, Value] = {}
    number = 1
    while table.has(f"B{number}"):
        burn = table.table(f"B{number}")
        if burn is not None:
            values |= _read_group(burn, f"burn.B{number}", measures)
        number += 1
    table.table(f"B{number}")  # makes the message about an unknown key name the next one
    table.close()
    return values


def _read_group(table: Table, prefix: str, measures: list[Measure]) -> dict[str, Value]:
    values: dict[str, Value] = {}
    for measure in measures:
        path = f"{prefix}.{measure.name}"
        if not table.has(measure.key):
            table.raw(measure.key)
            if path == "plan.result":
                table.fault(None, 'result is missing; write result = "planned"')
            continue
        value = _read_value(table, path, measure)
        if value is not None:
            values[path] = value
    table.close()
    return values


def _read_value(table: Table, path: str, measure: Measure) -> Value | None:
    """One value; after a fault NaN, or None for a word."""
    key = measure.key
    if measure.kind == "word":
        if path in _CHOICES:
            return table.choice(key, _CHOICES[path], _CHOICES[path][0])
        return table.text(key, _EXAMPLES["word"].strip('"'))
    if table.raw(key) == UNKNOWN:
        return math.nan
    if measure.kind == "count":
        number = table.whole(key, _EXAMPLES["count"])
        return None if number is None else float(number)
    if measure.kind == "number":
        return table.number(key, _EXAMPLES["number"])
    value = table.quantity(key, measure.kind, f"1.5 {_SHOWN[measure.kind][0]}")
    return _in_records(measure, value)


def _in_records(measure: Measure, value: float) -> float:
    """From SI to the unit of records, without the rounding of the change of units."""
    value = math.degrees(value) if measure.kind == "angle" else value
    return float(f"{value:.12g}")


def read_allowed(top: Table) -> dict[str, Allowance]:
    """The case's own allowances, by their measure's path; each replaces simcheck's whole."""
    allowed: dict[str, Allowance] = {}
    outer = top.table("allowed")
    if outer is None:
        return allowed
    for group, measures in _by_group().items():
        table = outer.table(group)
        if table is None:
            continue
        for measure in measures:
            if measure.kind != "word" and table.has(measure.key):
                allowed[f"{group}.{measure.name}"] = _read_allowance(table, measure)
            elif measure.kind != "word":
                table.raw(measure.key)
        table.close()
    outer.close()
    return allowed


def _read_allowance(table: Table, measure: Measure) -> Allowance:
    """A size, a share of the value, tolerance or limit, or both in a list."""
    value = table.raw(measure.key)
    parts = value if isinstance(value, list) else [value]
    sizes = {"absolute": 0.0, "relative": 0.0}
    for part in parts:
        found = _allowance_part(part, measure)
        if found is None or len(parts) > 2:
            table.fault(measure.key, _expected(measure, value))
            return Allowance()
        sizes[found[0]] = found[1]
    return Allowance(**sizes)


def _allowance_part(part: object, measure: Measure) -> tuple[str, float] | None:
    """Which allowance a part is, and its size; None where it is none."""
    if isinstance(part, bool) or not isinstance(part, int | float | str):
        return None
    plain = measure.kind not in _SHOWN
    if not isinstance(part, str):
        return ("absolute", float(part)) if plain and 0.0 <= part < math.inf else None
    relative = part.strip().endswith("%") and measure.kind != "share"
    try:
        size = parse(part, "share" if relative or plain else measure.kind)
    except UnitError:
        return None
    if size < 0.0 or (plain and not relative):
        return None
    return ("relative", size) if relative else ("absolute", _in_records(measure, size))


def _expected(measure: Measure, value: object) -> str:
    unit = _SHOWN.get(measure.kind, ("", 1.0))[0]
    size = f'"2 {unit}"' if unit else "0.001"
    example = size if measure.kind == "share" else f'[{size}, "0.5 %"]'
    what = "a drift allowed" if measure.kind == "share" else "a drift allowed, a share, or both"
    return f"expected {what}, got {shown(value)}; write {measure.key} = {example}"
