"""A plan as an orbit parameter message (CCSDS 502.0-B-3, section 3): state, mass and manoeuvres.

Dates are in TDB to the picosecond. A burn that turns with the craft is in RTN, one that keeps its
direction in the message's own frame. The covariance is that of the case's initial errors.
"""

from __future__ import annotations

from simcheck.files.epochs import date_after
from simcheck.files.message_axes import is_earth, own_frame
from simcheck.files.message_content import Content, Told
from simcheck.files.message_text import ORIGINATOR, UNKNOWN, Lines
from simcheck.files.opm import VERSION_KEYWORD
from simcheck.records.case import Case, Errors

_AXES = ("X", "Y", "Z", "X_DOT", "Y_DOT", "Z_DOT")


def opm_text(content: Content, epoch: str, created: str) -> str:
    """The message. epoch: the case's, TDB; created: now, UTC."""
    case, lines = content.case, Lines()
    lines.words(VERSION_KEYWORD, "3.0")
    lines.comment(case.title)
    lines.comment(content.note)
    axes_note(lines, case)
    lines.words("CREATION_DATE", created)
    lines.words("ORIGINATOR", ORIGINATOR)
    lines.words("OBJECT_NAME", case.craft.name)
    lines.words("OBJECT_ID", UNKNOWN)
    lines.words("CENTER_NAME", case.body.name.upper())
    lines.words("REF_FRAME", own_frame(case.body))
    if is_earth(case.body):
        lines.words("REF_FRAME_EPOCH", date_after(epoch, 0.0))
    lines.words("TIME_SYSTEM", "TDB")
    lines.words("EPOCH", date_after(epoch, 0.0))
    state = [*case.craft.position_m, *case.craft.velocity_m_s]
    for k, (axis, value) in enumerate(zip(_AXES, state, strict=True)):
        lines.number(axis, float(value), "km" if k < 3 else "km/s", -3)
    lines.number("MASS", case.craft.mass_kg, "kg")
    _covariance(lines, case.errors)
    for burn in content.burns:
        _manoeuvre(lines, burn, case, epoch)
    return lines.text


def axes_note(lines: Lines, case: Case) -> None:
    """Which axes are meant where no registered frame says it."""
    if not is_earth(case.body):
        lines.comment(
            f"{own_frame(case.body)} axes: centred on {case.body.name}, z along its pole, x along "
            "the direction that the case counts the ascending node from"
        )


def _covariance(lines: Lines, errors: Errors) -> None:
    """That of the start, spherical in position and in velocity; none where it is known."""
    sizes = (errors.initial_position_m, errors.initial_velocity_m_s)
    if not any(sizes):
        return
    for j, row in enumerate(_AXES):
        for k, column in enumerate(_AXES[: j + 1]):
            unit = ("km**2", "km**2/s", "km**2/s**2")[(j > 2) + (k > 2)]
            value = sizes[j > 2] ** 2 if j == k else 0.0
            lines.number(f"C{row}_{column}", value, unit, -6)


def _manoeuvre(lines: Lines, burn: Told, case: Case, epoch: str) -> None:
    lines.comment(f"{burn.label}: {burn.purpose}, by {burn.device}")
    lines.words("MAN_EPOCH_IGNITION", date_after(epoch, burn.start_s))
    lines.number("MAN_DURATION", burn.duration_s, "s")
    lines.number("MAN_DELTA_MASS", burn.delta_mass_kg, "kg")
    lines.words("MAN_REF_FRAME", "RTN" if burn.steering == "rsw" else own_frame(case.body))
    for k, value in enumerate(burn.dv_m_s, start=1):
        lines.number(f"MAN_DV_{k}", float(value), "km/s", -3)
