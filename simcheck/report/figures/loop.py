"""What the flight team believed, and what was true."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from simcheck.records.flight import Flight, FlownErrors
from simcheck.records.quantities import QUANTITIES, Quantity, error_of
from simcheck.report.figures.picture import Picture
from simcheck.report.figures.style import (
    BLUE,
    GREEN,
    MUTED,
    ORANGE,
    PURPLE,
    VERMILION,
    around,
    at_ends,
    labels,
)
from simcheck.report.words import clean, count

_LOOKS = {
    "phase": (BLUE, "o"),
    "period": (VERMILION, "s"),
    "eccentricity": (PURPLE, "^"),
    "plane": (ORANGE, "D"),
}
_APART = 0.16


def decisions(flight: Flight, tolerances: dict[str, float], axis: Axes) -> None:
    """Errors foreseen at each decision over their tolerance: believed (open) and true (filled)."""
    listed = [quantity for quantity in QUANTITIES if tolerances.get(quantity.error)]
    stages = range(len(flight.decisions))
    last = len(flight.decisions)
    drawn, ends = [1.0], []
    for rank, quantity in enumerate(listed):
        colour, marker = _LOOKS[quantity.name]
        shift = _APART * (rank - (len(listed) - 1) / 2)
        tolerance = tolerances[quantity.error]
        believed = [_share(d.believed, quantity, tolerance) for d in flight.decisions]
        true = [_share(d.true, quantity, tolerance) for d in flight.decisions]
        end = _share(flight.errors, quantity, tolerance)
        x = np.array([*stages, last]) + shift
        for k in stages:
            axis.plot([x[k], x[k]], [believed[k], true[k]], color=colour, lw=0.8, alpha=0.6)
        axis.plot(
            x,
            [*true, end],
            color=colour,
            marker=marker,
            ms=5,
            lw=0.7,
            ls=(0, (1.2, 2)),
            gid=f"true {quantity.name}",
            zorder=4,
        )
        axis.plot(
            x[:-1],
            believed,
            ls="none",
            marker=marker,
            ms=9,
            mfc="none",
            mec=colour,
            mew=1.2,
            gid=f"believed {quantity.name}",
            zorder=5,
        )
        drawn += [*believed, *true, end]
        ends.append((end, quantity.name, colour))
    around(axis, 1.0, drawn, signed=False)
    axis.axhspan(0.0, 1.0, color=GREEN, alpha=0.16, lw=0, gid="tolerance")
    axis.set_xlim(-0.5, last + 0.4)
    said = [f"{d.action}\n{d.time_s / 86400:.2f} d" for d in flight.decisions]
    axis.set_xticks([*stages, last], [*said, "at the end\nmeasured"])
    labels(axis, "", "error over its tolerance")
    axis.grid(visible=False, axis="x")
    axis.text(
        0.99,
        0.99,
        "open: believed    filled: true",
        transform=axis.transAxes,
        ha="right",
        va="top",
        color=MUTED,
    )
    at_ends(axis, last + 0.4, ends)


def _share(errors: FlownErrors, quantity: Quantity, tolerance: float) -> float:
    return abs(error_of(errors, quantity)) / tolerance


def pictures(flight: Flight, tolerances: dict[str, float]) -> list[Picture]:
    """The log of a flight whose team decided."""
    if not flight.decisions or not any(tolerances.values()):
        return []
    log = "; ".join(
        f"after {d.time_s / 86400:.2f} days {d.action}, believed"
        f" {_listed(d.believed, tolerances)}, true {_listed(d.true, tolerances)}"
        for d in flight.decisions
    )
    return [
        Picture(
            "closed_loop",
            "What the flight team believed, and what was true",
            "At each decision the errors at the end of the burns that were left, each over its"
            " tolerance: open marks from the team's estimate, filled ones from the true state; at"
            " the right those measured. Linear within the tolerance (the band), logarithmic"
            " beyond.",
            clean(
                f"{count(len(flight.decisions), 'decision')}: {log}; at the end"
                f" {_listed(flight.errors, tolerances)}."
            ),
            lambda axis: decisions(flight, tolerances, axis),
            (7.2, 3.4),
        )
    ]


def _listed(errors: FlownErrors, tolerances: dict[str, float]) -> str:
    return ", ".join(
        f"{quantity.name} {error_of(errors, quantity):.3g}"
        + (f" {quantity.unit}" if quantity.unit else "")
        for quantity in QUANTITIES
        if quantity.error in tolerances
    )
