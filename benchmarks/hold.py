"""How long a year of a ring takes to hold, beside scipy flying the same relays.

    python benchmarks/hold.py

The ring is `cases/lunar_year.toml`: four relays about the Moon under J2, the Earth, the Sun and
sunlight, as planned. scipy's DOP853 flies the same four for some days at a tolerance that ends
within a metre of ours, and looks at nothing; its time is scaled to the year. The parts are measured
in turns, and the least of each is kept.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from simcheck import api
from simcheck.engines.batches import TaylorBatches
from simcheck.engines.choosing import fast_propagator
from simcheck.engines.gravity import gravity_of
from simcheck.engines.reference import ReferencePropagator
from simcheck.files.ephemeris import with_sun
from simcheck.holding.drifting import TOLERANCE, drift, look_times
from simcheck.holding.keeping import keep
from simcheck.holding.relays import relays_of
from simcheck.measuring import resolve_ring
from simcheck.records.hold import HoldAim

DEMO = Path(__file__).parents[1] / "cases" / "lunar_year.toml"
DAY_S, YEAR_S, TURNS, FEW = 86400.0, 365.25 * 86400.0, 3, 10
RTOL = 1e-9  # ends within a metre of our batches after ten days


def main() -> None:
    """Print a table of seconds and ratios."""
    loaded = replace(api.load_case(DEMO), hold=HoldAim(duration_s=YEAR_S))
    case = with_sun(loaded, 1.1 * YEAR_S)
    propagator = fast_propagator(gravity_of(case))
    motion = resolve_ring(case.ring, propagator)
    relays = relays_of(case, motion, propagator, 0.0, None)
    looks = look_times(0.0, YEAR_S, motion.period_s)
    batches = TaylorBatches(propagator.gravity, TOLERANCE)
    scipy = ReferencePropagator(propagator.gravity, RTOL)
    args = (batches, motion, relays.slots, relays.states, looks)

    def theirs() -> np.ndarray:
        return np.array([scipy.advance(0.0, x, FEW * DAY_S).state for x in relays.states])

    ours = batches.advance(np.zeros(4), relays.states, np.full(4, FEW * DAY_S))
    off = np.linalg.norm(theirs()[:, :3] - ours[:, :3], axis=1).max()
    rows: dict[str, Callable[[], object]] = {
        "four relays flown for a year and looked at": lambda: drift(*args),
        "four relays kept for a year": lambda: keep(case, *args),
        "the whole hold without upkeep": lambda: api.hold(loaded, upkeep=False),
        "the whole hold": lambda: api.hold(loaded),
        f"scipy's DOP853, {FEW} days of the four": theirs,
    }
    best = dict.fromkeys(rows, np.inf)
    for _ in range(TURNS):
        for name, run in rows.items():
            start = time.perf_counter()
            run()
            best[name] = min(best[name], time.perf_counter() - start)
    name = list(rows)[-1]
    year = best.pop(name) * YEAR_S / (FEW * DAY_S)
    print(f"scipy's DOP853 ends {off:.2g} m off after {FEW} days; a year of it: {year:.1f} s")
    for name, seconds in best.items():
        print(f"{name:45} {seconds:6.2f} s, {year / seconds:5.0f} times faster")


if __name__ == "__main__":
    main()
