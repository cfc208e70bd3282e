"""What a baseline keeps of a case: each measure, how far it may drift, which way is better, why."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal, NamedTuple, TypeAlias

Better: TypeAlias = Literal["lower", "higher", "nearer zero", "none"]
Value: TypeAlias = float | str

GROUPS = {
    "plan": "the plan",
    "burn": "its burns",
    "flight": "the flight without errors",
    "error": "the errors at its end",
    "margin": "the margins to its limits",
    "dispersion": "the dispersed flights",
}
"""Groups of measures, in the order of a baseline."""

UNKNOWN = "not known"
"""Stands in a baseline for a number that could not be measured (NaN)."""


class Allowance(NamedTuple):
    """How far a measure may drift: the larger of `absolute` and `relative` times its scale."""

    absolute: float = 0.0
    relative: float = 0.0

    def drift(self, scale: float) -> float:
        """The drift allowed, in the measure's unit; nothing is added for a scale of NaN."""
        share = self.relative * abs(scale)
        return max(self.absolute, share) if math.isfinite(share) else self.absolute


class Measure(NamedTuple):
    """One measure. name carries its unit as records do; key is how a baseline writes it.

    kind is that of `files.units`, "number" for one without a unit, "count", or "word", whose known
    values stand in `words`, best first where one way is better. of says what a relative allowance
    is a share of: its value in the baseline, its tolerance or its limit. text names it for people.
    """

    group: str
    name: str
    key: str
    kind: str
    better: Better
    allowed: Allowance
    of: Literal["value", "tolerance", "limit"]
    text: str
    why: str
    words: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """The unit of its numbers in records."""
        return _UNITS[self.kind]


_UNITS = {
    "speed": "m/s",
    "time": "s",
    "length": "m",
    "angle": "deg",
    "mass": "kg",
    "share": "",
    "number": "",
    "count": "",
    "word": "",
}

_EXACT = Allowance()
_DV = "a fifth of the 0.5 % that a plan may cost beyond the best known; 1 cm/s for tiny plans"
_DATE = "a minute; sooner and later plans of one search lie a good part of a revolution apart"
_NEAR = "a fiftieth of its tolerance; a perfect flight may use a tenth"
_WORD = "a word: any other is a change"
_MARGIN = "as Δv may drift, of what the limit allows"
_ROOM = (
    "a twentieth of the room there is, as far from a limit it matters little; near it, kilometres"
)


def _word(group: str, name: str, text: str, *words: str) -> Measure:
    better: Better = "higher" if words else "none"
    return Measure(group, name, name, "word", better, _EXACT, "value", text, _WORD, words)


def _error(name: str, key: str, kind: str) -> Measure:
    allowed, text = Allowance(0.0, 0.02), f"{key} error"
    return Measure("error", name, key, kind, "nearer zero", allowed, "tolerance", text, _NEAR)


def _margin(name: str, key: str, kind: str, text: str, allowed: Allowance, why: str) -> Measure:
    return Measure("margin", name, key, kind, "higher", allowed, "limit", text, why)


def _room(name: str, key: str, size_m: float) -> Measure:
    allowed, text = Allowance(size_m, 0.05), f"margin of {key}"
    return Measure("margin", name, key, "length", "higher", allowed, "value", text, _ROOM)


def _speed(
    group: str, name: str, better: Better, allowed: Allowance, text: str, why: str
) -> Measure:
    key = name.removesuffix("_m_s")
    return Measure(group, name, key, "speed", better, allowed, "value", text, why)


_ALL = (
    _word("plan", "result", "planning", "planned", "no plan"),
    _word("plan", "limit", "limit that binds"),
    Measure(
        "plan",
        "burns",
        "burns",
        "count",
        "lower",
        _EXACT,
        "value",
        "burns",
        "another number of burns is another plan; each is an ignition that can fail",
    ),
    _speed("plan", "total_dv_m_s", "lower", Allowance(0.01, 1e-3), "Δv, impulses", _DV),
    _speed("plan", "commanded_dv_m_s", "lower", Allowance(0.01, 1e-3), "Δv commanded", _DV),
    _speed(
        "plan",
        "lower_bound_dv_m_s",
        "none",
        Allowance(0.01, 1e-4),
        "floor of Δv",
        "a smooth optimum over few numbers, known far better; neither way is good",
    ),
    Measure(
        "burn",
        "ignition_s",
        "ignition",
        "time",
        "none",
        Allowance(20.0),
        "value",
        "ignition",
        "an optimum is flat: 20 s beside the best moment cost next to nothing; more is elsewhere",
    ),
    _speed(
        "burn",
        "dv_m_s",
        "none",
        Allowance(0.02, 5e-3),
        "Δv",
        "the split between burns is flat as well; their sum is held more tightly",
    ),
    _word("flight", "outcome", "outcome", "flown"),
    _word("flight", "verdict", "verdict", "within", "outside"),
    Measure(
        "flight",
        "arrival_time_s",
        "arrival_time",
        "time",
        "lower",
        Allowance(60.0),
        "value",
        "arrival",
        _DATE,
    ),
    _error("phase_deg", "phase", "angle"),
    _error("period_s", "period", "time"),
    _error("eccentricity", "eccentricity", "number"),
    _error("plane_deg", "plane", "angle"),
    _margin("duration_s", "duration", "time", "margin of time", Allowance(60.0), _DATE),
    _margin("dv_m_s", "dv", "speed", "margin of Δv", Allowance(0.01, 1e-3), _MARGIN),
    _margin(
        "propellant_kg", "propellant", "mass", "propellant left", Allowance(0.01, 1e-3), _MARGIN
    ),
    _room("altitude_m", "altitude", 2e3),
    _room("radius_m", "radius", 5e3),
    _room("separation_m", "separation", 2e3),
    Measure(
        "dispersion",
        "within",
        "within",
        "share",
        "higher",
        Allowance(0.02),
        "value",
        "flights within",
        "2 %: with the same draws only flights on the edge change sides",
    ),
    _speed(
        "dispersion",
        "dv_95_m_s",
        "lower",
        Allowance(0.05, 5e-3),
        "Δv of 95 % of flights",
        "as the Δv planned, and as much again for what trims make of it",
    ),
)

MEASURES = {f"{measure.group}.{measure.name}": measure for measure in _ALL}
"""Every measure by its path, in the order of a baseline."""


def measure_at(path: str) -> Measure:
    """The measure of a value's path: "plan.total_dv_m_s", or "burn.B2.ignition_s" of one burn."""
    parts = path.split(".")
    return MEASURES[f"{parts[0]}.{parts[-1]}"]


def text_of(path: str) -> str:
    """What people call the value at a path: "ignition of B2"."""
    parts = path.split(".")
    return measure_at(path).text + (f" of {parts[1]}" if len(parts) == 3 else "")


def paths_of(group: str, burns: int) -> Iterator[str]:
    """Paths of all values that a group may have, in order; burns are labelled B1, B2, ..."""
    names = [measure.name for measure in _ALL if measure.group == group]
    if group != "burn":
        yield from (f"{group}.{name}" for name in names)
        return
    for number in range(1, burns + 1):
        yield from (f"burn.B{number}.{name}" for name in names)


def rounded(value: float, drift: float) -> float:
    """A number with the digits worth keeping: to a tenth of the drift allowed, or finer.

    Where no drift is allowed it is kept as it is.
    """
    if drift <= 0.0 or not math.isfinite(value):
        return value
    decimals = -math.floor(math.log10(drift / 10.0) + 1e-9)
    return round(value, decimals) + 0.0  # no negative zero
