"""The columns of a flight's row as they are drawn: in words, and in units that suit them."""

from __future__ import annotations

from simcheck.records.dispersion import COLUMNS

UNITS = {name: unit for name, _, unit, _ in COLUMNS}
"""Unit of each column."""

_MEANINGS = {
    "phase_deg": "phase",
    "period_s": "period",
    "eccentricity": "eccentricity",
    "plane_deg": "plane",
    "dv_used_m_s": "Δv flown",
    "propellant_used_kg": "propellant used",
    "arrival_time_s": "arrival past the epoch",
    "closest_approach_m": "closest approach to a member",
}


def meaning(column: str) -> str:
    """What a column is, in words."""
    return _MEANINGS.get(column, column)


def scaled(column: str) -> tuple[float, str]:
    """Units of the column in the unit drawn, and its name."""
    if column == "arrival_time_s":
        return 86400.0, "days"
    if UNITS.get(column) == "m":
        return 1e3, "km"
    return 1.0, UNITS.get(column, "")


def number4(value: float) -> str:
    """A number in four digits, or five where it takes them to the unit."""
    return f"{value:,.0f}".replace(",", "\u2009") if abs(value) >= 1e4 else f"{value:.4g}"
