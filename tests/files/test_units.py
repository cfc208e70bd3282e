"""The edge that turns text with a unit into SI floats."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simcheck.files.units import _USUAL, KINDS, UnitError, parse, split_revolutions


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("12 h", "time", 43200.0),
        ("15 d", "time", 1296000.0),
        ("2 week", "time", 1209600.0),
        ("318 s", "time", 318.0),
        ("450 km", "length", 450e3),
        ("450km", "length", 450e3),
        ("  4.5e2   km ", "length", 450e3),
        ("0.5 deg", "angle", math.radians(0.5)),
        ("-30 arcmin", "angle", -math.radians(0.5)),
        ("1 %", "share", 0.01),
        ("8 N", "force", 8.0),
        ("0.05 m/s", "speed", 0.05),
        ("5 mm/s", "speed", 0.005),
        ("5 cm/s", "speed", 0.05),
        ("9.8 km3/s2", "gm", 9.8e9),
        ("9.8 km3 / s2", "gm", 9.8e9),
        ("9.8 km^3 s^-2", "gm", 9.8e9),
        ("310 kg", "mass", 310.0),
        ("2 t", "mass", 2000.0),
    ],
)
def test_parses_to_si(text: str, kind: str, value: float) -> None:
    """Text with a unit becomes its SI value to rounding."""
    assert parse(text, kind) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize("unit", _USUAL)
def test_usual_units_agree_with_astropy(unit: str) -> None:
    """Each unit that is looked up has the size that astropy gives it."""
    from astropy import units

    kind, factor = _USUAL[unit]
    assert factor == pytest.approx(units.Unit(unit).to(KINDS[kind].si), rel=1e-15)


@pytest.mark.parametrize(
    ("text", "kind", "reason"),
    [
        ("12", "time", "which has no unit"),
        ("12 km", "time", "which is a length"),
        ("12 erg", "force", "which is an energy"),
        ("12 furlongs", "length", 'whose unit "furlongs" is unknown'),
        ("5 3 km", "length", 'whose unit "3 km" is unknown'),
        ("1 km 3", "length", 'whose unit "km 3" is unknown'),
        ("1 m(", "length", 'whose unit "m(" is unknown'),
        ("0.01 rad", "share", "which is an angle"),
        ("nan km", "length", "which is not a finite number"),
        ("-inf s", "time", "which is not a finite number"),
        ("1e999 km", "length", "which is too large to compute with"),
        ("1e30 km", "length", "which is too large to compute with"),
        ("1e-30 km", "length", "which is too small to compute with"),
        ("km", "length", ""),
        ("", "length", ""),
        ("1,5 km", "length", "whose decimal comma should be a point"),
        ("\u0661 km", "length", ""),
    ],
)
def test_refuses_with_a_reason(text: str, kind: str, reason: str) -> None:
    """A text that is no such quantity is refused with what is wrong about it."""
    with pytest.raises(UnitError) as caught:
        parse(text, kind)
    assert caught.value.reason == reason


@given(st.text(max_size=60), st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_number_or_a_unit_error(text: str, kind: str) -> None:
    """Whatever stands in the quotes, the answer is a finite float or a UnitError."""
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse(text, kind))


@given(st.from_regex(r"[0-9]{1,3} [a-zA-Z%/*^()0-9. -]{1,30}", fullmatch=True))
def test_any_unit_text_is_a_number_or_a_unit_error(text: str) -> None:
    """The same where the text comes close to a quantity."""
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse(text, "length"))


def test_revolutions() -> None:
    """Revolutions are told from times."""
    assert split_revolutions("1 rev") == 1.0
    assert split_revolutions("2.5 rev") == 2.5
    assert split_revolutions("2 h") is None
    assert split_revolutions(3) is None
