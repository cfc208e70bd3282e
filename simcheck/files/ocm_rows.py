"""The columns and rows of a manoeuvre section of an orbit comprehensive message, to burns.

MAN_COMPOSITION names the columns (CCSDS 502.0-B-3, table 6-8); their units are fixed, and MAN_UNITS
must name the same. A row that has a Δv and a thrust describes one burn twice: the Δv is taken.
"""

from __future__ import annotations

import math

import numpy as np

from simcheck.arrays import Array
from simcheck.files.epochs import Instant
from simcheck.files.kvn import Block, nearest, read_number
from simcheck.files.message_manoeuvres import Manoeuvre
from simcheck.files.ocm_sections import Row
from simcheck.files.records_json import shown
from simcheck.kernels.vectors import norm

_TIMES = ("TIME_ABSOLUTE", "TIME_RELATIVE")
_DV, _THRUST = ("DV_X", "DV_Y", "DV_Z"), ("THR_X", "THR_Y", "THR_Z")
_UNITS = {
    "MAN_DURA": "s",
    "DELTA_MASS": "kg",
    **dict.fromkeys(_DV, "km/s"),
    "DV_MAG_SIGMA": "%",
    "DV_DIR_SIGMA": "deg",
    **dict.fromkeys(_THRUST, "N"),
    "THR_EFFIC": "",
    "THR_ISP": "s",
    "THR_MAG_SIGMA": "%",
    "THR_DIR_SIGMA": "deg",
}
_IGNORED = (*(f"ACC_{x}" for x in "XYZ"), "ACC_INTERP", "ACC_MAG_SIGMA", "ACC_DIR_SIGMA")
_COLUMNS = (*_TIMES, *_UNITS, *_IGNORED, "THR_INTERP")


def composition(block: Block) -> list[str]:
    """The columns; empty after a fault."""
    example = "TIME_RELATIVE, MAN_DURA, DELTA_MASS, DV_X, DV_Y, DV_Z"
    text = block.text("MAN_COMPOSITION", example)
    if text is None:
        return []
    columns = [name.strip() for name in text.split(",")]
    fault = ""
    deployed = next((name for name in columns if name.startswith("DEPLOY")), None)
    unknown = next((name for name in columns if name not in _COLUMNS), None)
    if deployed:
        fault = f"{deployed}: a deployment is no burn, and not flown"
    elif unknown is not None:
        fault = f"{shown(unknown)} is no column{nearest(unknown, list(_COLUMNS))}"
    elif len(set(columns)) < len(columns) or columns[0] not in _TIMES or set(_TIMES) <= {*columns}:
        fault = "expected TIME_ABSOLUTE or TIME_RELATIVE first, and each column once"
    elif not ({*_DV} <= {*columns} or {*_THRUST} <= {*columns}):
        fault = "expected DV_X, DV_Y, DV_Z or THR_X, THR_Y, THR_Z"
    elif not {*_DV} <= {*columns} and not ("MAN_DURA" in columns and _flow(columns)):
        fault = "a thrust needs MAN_DURA, and THR_ISP or DELTA_MASS"
    if fault:
        block.fault("MAN_COMPOSITION", f"{fault}; write {example}")
        return []
    return columns if _units_right(block, columns) else []


def _flow(columns: list[str]) -> bool:
    return "THR_ISP" in columns or "DELTA_MASS" in columns


def _units_right(block: Block, columns: list[str]) -> bool:
    """Whether MAN_UNITS, where given, names the units that the standard fixes."""
    given = block.unit("MAN_UNITS")
    if given is None:
        return True
    units = [unit.strip() for unit in given.split(",")]
    wanted = [_UNITS.get(name, "n/a") or "n/a" for name in columns]
    if len(units) == len(columns) - 1:
        units = [wanted[0], *units]  # the time tag need not be listed
    if len(units) != len(columns):
        block.fault("MAN_UNITS", f"expected {len(columns) - 1} units, got {len(units)}")
        return False
    for name, unit, want in zip(columns[1:], units[1:], wanted[1:], strict=True):
        if name in _UNITS and unit != want:
            block.fault("MAN_UNITS", f"{name}: expected {want}, got {shown(unit)}")
            return False
    return True


def cells_of(row: Row, columns: list[str], block: Block) -> dict[str, str] | None:
    """A row's values by column, its time under TIME; None after a fault."""
    if len(row.values) != len(columns):
        got, want = len(row.values), len(columns)
        block.faults.add(row.line, f"expected {want} values as in MAN_COMPOSITION, got {got}")
        return None
    return dict(zip(["TIME", *columns[1:]], row.values, strict=True))


def burn_of_row(
    cells: dict[str, str], at: tuple[Instant, float], where: tuple[str, int], block: Block
) -> Manoeuvre | None:
    """One row; None after a fault or where nothing burns."""
    (frame, line), numbers = where, dict[str, float]()
    for name, unit in _UNITS.items():
        if name not in cells:
            continue
        try:
            numbers[name] = read_number(cells[name], unit)
        except ValueError as error:
            block.faults.add(line, f"{name}: {error}")
            return None
    fault = _fault(numbers)
    if fault:
        block.faults.add(line, fault)
        return None
    dv, thrust = (_vector(numbers, names) for names in (_DV, _THRUST))
    if dv is not None and thrust is not None:
        thrust = None  # two descriptions of one burn: the Δv is what it is made for
    if thrust is not None:
        thrust = thrust * numbers.get("THR_EFFIC", 1.0)
    if not any(x is not None and norm(x) > 0.0 for x in (dv, thrust)):
        return None  # an engine that is off
    return Manoeuvre(
        ignition=at[0],
        offset_s=at[1],
        duration_s=numbers.get("MAN_DURA", 0.0),
        delta_mass_kg=numbers.get("DELTA_MASS") or math.nan,
        frame=frame,
        dv_m_s=dv,
        thrust_n=thrust,
        isp_s=numbers.get("THR_ISP", math.nan),
        line=line,
    )


def _fault(numbers: dict[str, float]) -> str:
    """What is wrong with the numbers of a row; empty where nothing is."""
    duration, lost = numbers.get("MAN_DURA", 0.0), numbers.get("DELTA_MASS", 0.0)
    isp, pushed = numbers.get("THR_ISP"), "DV_X" not in numbers
    checks = (
        (duration < 0.0, "MAN_DURA: expected 0 s or more"),
        (lost > 0.0, "DELTA_MASS: expected 0 kg or less: mass is lost"),
        (isp is not None and isp <= 0.0, "THR_ISP: expected more than 0 s"),
        (
            not 0.0 < numbers.get("THR_EFFIC", 1.0) <= 1.0,
            "THR_EFFIC: expected more than 0, and 1 at most",
        ),
        (pushed and not duration > 0.0, "MAN_DURA: expected more than 0 s for a thrust"),
        (
            pushed and isp is None and lost == 0.0,
            "DELTA_MASS: expected less than 0 kg, or THR_ISP, for a thrust",
        ),
    )
    return next((text for wrong, text in checks if wrong), "")


def _vector(numbers: dict[str, float], names: tuple[str, str, str]) -> Array | None:
    return np.array([numbers[name] for name in names]) if names[0] in numbers else None
