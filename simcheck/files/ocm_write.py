"""A plan or the burns of a flight as an orbit comprehensive message (CCSDS 502.0-B-3, section 6).

Times are seconds past EPOCH_TZERO, the case's epoch, or where the message begins at a tracked state
the date of that; a burn of the past then has a negative time. Each burn is a section of its own
with its Δv, the thrust and specific impulse behind it, and where the case has errors their
one-sigma sizes.
"""

from __future__ import annotations

import math

import numpy as np

from simcheck.files.epochs import date_after
from simcheck.files.message_axes import is_earth, own_frame
from simcheck.files.message_content import Content, Told
from simcheck.files.message_text import ORIGINATOR, Lines, number
from simcheck.files.ocm import VERSION_KEYWORD
from simcheck.files.opm_write import axes_note
from simcheck.records.case import Case

_DV = ("DV_X", "DV_Y", "DV_Z")
_THRUST = ("THR_X", "THR_Y", "THR_Z")


def ocm_text(content: Content, epoch: str, created: str) -> str:
    """The message. epoch: the case's, TDB; created: now, UTC."""
    case, lines = content.case, Lines()
    zero = date_after(epoch, content.state.time_s if content.state else 0.0)
    axes = date_after(epoch, 0.0)
    lines.words(VERSION_KEYWORD, "3.0")
    lines.comment(case.title)
    lines.comment(content.note)
    axes_note(lines, case)
    lines.words("CREATION_DATE", created)
    lines.words("ORIGINATOR", ORIGINATOR)
    lines.edge("META_START")
    lines.words("OBJECT_NAME", case.craft.name)
    lines.words("TIME_SYSTEM", "TDB")
    lines.words("EPOCH_TZERO", zero)
    lines.edge("META_STOP")
    _trajectory(lines, content, axes)
    lines.edge("PHYS_START")
    known = content.state.mass_kg if content.state else None
    lines.number("WET_MASS", case.craft.mass_kg if known is None else known, "kg")
    lines.number("DRY_MASS", case.craft.dry_mass_kg, "kg")
    lines.edge("PHYS_STOP")
    _covariance(lines, content, axes)
    for basis, burns in (("DETERMINED", content.over), (content.basis, content.burns)):
        names = _identified([burn.label for burn in burns])
        for k, burn in enumerate(burns):
            around = (names[k - 1] if k else None, names[k], *names[k + 1 : k + 2])
            _manoeuvre(lines, content, burn, around, (basis, axes))
    lines.edge("PERT_START")
    lines.comment(f"Forces: {', '.join(['point mass', *case.forces])}")
    lines.number("GM", case.body.gm_m3_s2, "km**3/s**2", -9)
    lines.edge("PERT_STOP")
    return lines.text


def _frame(case: Case) -> str:
    """The case's axes as this kind of message names them."""
    return "TOD_EARTH" if is_earth(case.body) else own_frame(case.body)


def _trajectory(lines: Lines, content: Content, axes: str) -> None:
    case, start = content.case, content.state or content.case.craft
    lines.edge("TRAJ_START")
    lines.words("TRAJ_BASIS", "DETERMINED" if content.state else "PREDICTED")
    lines.words("CENTER_NAME", case.body.name.upper())
    lines.words("TRAJ_REF_FRAME", _frame(case))
    if is_earth(case.body):
        lines.words("TRAJ_FRAME_EPOCH", axes)
    lines.words("TRAJ_TYPE", "CARTPV")
    lines.words("TRAJ_UNITS", "[km, km, km, km/s, km/s, km/s]")
    state = [*start.position_m, *start.velocity_m_s]
    lines.edge(" ".join(["0.0", *(number(float(value), -3) for value in state)]))
    lines.edge("TRAJ_STOP")


def _covariance(lines: Lines, content: Content, axes: str) -> None:
    """That of the tracked state, or of the case's start; none where there is none."""
    case, state = content.case, content.state
    sizes = (case.errors.initial_position_m, case.errors.initial_velocity_m_s)
    matrix = np.diag(np.repeat(sizes, 3)) ** 2 if state is None else state.covariance
    if matrix is None or not matrix.any():
        return
    lines.edge("COV_START")
    lines.words("COV_BASIS", "DETERMINED" if state else "SIMULATED")
    lines.words("COV_REF_FRAME", _frame(case))
    if is_earth(case.body):
        lines.words("COV_FRAME_EPOCH", axes)
    lines.words("COV_TYPE", "CARTPV")
    lines.words("COV_ORDERING", "LTM")
    lines.words("COV_UNITS", "[km, km, km, km/s, km/s, km/s]")
    values = matrix[np.tril_indices(6)]
    lines.edge(" ".join(["0.0", *(number(float(value), -6) for value in values)]))
    lines.edge("COV_STOP")


def _identified(labels: list[str]) -> list[str]:
    """Labels that are unique: a burn made in parts has a number after its label."""
    return [
        label if labels.count(label) == 1 else f"{label}.{labels[: k + 1].count(label)}"
        for k, label in enumerate(labels)
    ]


def _manoeuvre(
    lines: Lines,
    content: Content,
    burn: Told,
    around: tuple[str | None, ...],
    basis_axes: tuple[str, str],
) -> None:
    """One burn. around: the identification of the burn before, of this one and of the next."""
    case, (basis, axes) = content.case, basis_axes
    lines.edge("MAN_START")
    if basis == "DETERMINED":
        lines.comment("Estimated from the states around it; ignition and THR_ISP as commanded")
    lines.words("MAN_ID", around[1] or burn.label)
    if around[0]:
        lines.words("MAN_PREV_ID", around[0])
    if len(around) > 2:
        lines.words("MAN_NEXT_ID", around[2] or "")
    lines.words("MAN_BASIS", basis)
    lines.words("MAN_DEVICE_ID", burn.device)
    lines.words("MAN_PURPOSE", burn.purpose)
    lines.words("MAN_REF_FRAME", "RSW_ROTATING" if burn.steering == "rsw" else _frame(case))
    if burn.steering == "inertial" and is_earth(case.body):
        lines.words("MAN_FRAME_EPOCH", axes)
    lines.words("DC_TYPE", "CONTINUOUS")
    columns = _columns(burn)
    lines.words("MAN_COMPOSITION", ", ".join(["TIME_RELATIVE", *(x[0] for x in columns)]))
    lines.words("MAN_UNITS", f"[{', '.join(['s', *(x[1] for x in columns)])}]")
    start = burn.start_s - (content.state.time_s if content.state else 0.0)
    lines.edge(" ".join([number(start), *(x[2] for x in columns)]))
    lines.edge("MAN_STOP")


def _columns(burn: Told) -> list[tuple[str, str, str]]:
    """Name, unit and value of each column after the time, in the order of the standard."""
    found = [
        ("MAN_DURA", "s", number(burn.duration_s)),
        ("DELTA_MASS", "kg", number(burn.delta_mass_kg)),
    ]
    found += [(n, "km/s", number(float(x), -3)) for n, x in zip(_DV, burn.dv_m_s, strict=True)]
    if burn.sigma is not None:
        if burn.sigma.size is not None:
            found.append(("DV_MAG_SIGMA", "%", number(100.0 * burn.sigma.size)))
        found.append(("DV_DIR_SIGMA", "deg", number(math.degrees(burn.sigma.angle_rad))))
    size = math.hypot(*burn.dv_m_s.tolist())
    force = burn.thrust_n / size * burn.dv_m_s
    found += [(n, "N", number(float(x))) for n, x in zip(_THRUST, force, strict=True)]
    return [*found, ("THR_ISP", "s", number(burn.isp_s))]
