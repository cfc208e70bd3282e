"""How fast dispersed flights go, side by side: scipy, boinor, Orekit, bare heyoka and ours.

    pip install -e '.[bench]' && python benchmarks/flight.py

One flight is a coast, a burn, a coast, a burn and a coast of some fourteen revolutions about a
body with J2. All rows fly the same invented samples and are measured in turns in one run after a
warm-up, so their ratios hold on any machine; the least of the turns counts. Each integrator flies
at two tolerances: the loosest tried that ends within 1 m of our tightest, and the tightest it
takes. Our batches also fly as they do in dispersions. `flight_rows/`: one way of flying a file.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Callable
from importlib import import_module
from typing import Any, NamedTuple

import numpy as np
from flight_rows.samples import MARS, Flights, samples
from flight_rows.with_heyoka import Bare
from flight_rows.with_ours import batches, ring_motion, scalar
from flight_rows.with_scipy import plain

from simcheck.engines.batches import TaylorBatches
from simcheck.engines.reference import ReferencePropagator
from simcheck.engines.taylor import TOLERANCE, TaylorPropagator
from simcheck.flying.lanes import TOLERANCE as LANES
from simcheck.measuring import average
from simcheck.measuring_lanes import average_lanes

SAMPLES = 1000
FEW = 4  # flights of a row that takes tens of milliseconds each
SOME = 100  # flights of our scalar engine
MANY = 200  # flights of Orekit, whose virtual machine has to get warm
WARM, TURNS = 3, 5
WITHIN = 1.0  # m
LOOSE, TIGHT, DISPERSED = "1 m", "tightest", "dispersed"
DOP853 = 3e-14  # the tightest that scipy allows, which comes nearest to the Taylor series
FLOATS, ARRAYS = "scipy, plain floats", "scipy, numpy arrays"
NUMBA, BOINOR = "scipy, compiled by numba", "boinor's Cowell"
OREKIT, CHAIN = "Orekit, two manoeuvres", "Orekit, a chain of arcs"
HEYOKA, OURS = "bare heyoka batches", "our batches"
GAINS = ((FLOATS, 800), (ARRAYS, 800), (NUMBA, None), (BOINOR, None), (OREKIT, 60), (CHAIN, 60))
SHARE = 0.7

RIVALS = (  # row, its module and function, the tolerance that ends within 1 m, flights
    (NUMBA, "with_numba", "compiled", 1e-9, FEW),
    (BOINOR, "with_boinor", "cowell", 3e-9, FEW),
    (OREKIT, "with_orekit", "manoeuvres", 3e-10, MANY),
    (CHAIN, "with_orekit", "chain", 1e-9, MANY),
)


class Row(NamedTuple):
    """What flies n flights at a tolerance, and how its outcome is turned into ends (n, 7)."""

    label: str
    accuracy: str
    tolerance: float
    flights: int
    work: Callable[[], Any]
    ends: Callable[[Any], Any] = np.asarray


def flown(label: str, fly: Callable[..., Any], all_: Flights, n: int, loose: float) -> list[Row]:
    """The two rows, within 1 m and tightest, of `fly(flights, tolerance)`."""
    some = all_.first(n)
    return [
        Row(label, accuracy, tolerance, n, lambda tolerance=tolerance: fly(some, tolerance))
        for accuracy, tolerance in ((LOOSE, loose), (TIGHT, DOP853))
    ]


def installed(all_: Flights) -> list[Row]:
    """The rows of packages that need not be there; a line for each that is not."""
    rows = []
    for label, module, function, loose, n in RIVALS:
        try:
            fly = getattr(import_module(f"flight_rows.{module}"), function)
        except ModuleNotFoundError as missing:
            print(f"left out: {label}: no {missing.name}; pip install -e '.[bench]' brings it")
        else:
            rows += flown(label, fly, all_, n, loose)
    return rows


def rows_of(all_: Flights) -> list[Row]:
    """All rows that fly, ours last."""
    rows = flown(FLOATS, plain, all_, FEW, 1e-9)
    rows += flown(ARRAYS, lambda f, t: scalar(f, ReferencePropagator(MARS, t)), all_, FEW, 1e-9)
    rows += installed(all_)
    for accuracy, tolerance in ((LOOSE, 1e-8), (TIGHT, TOLERANCE)):
        bare = Bare(all_, tolerance)
        ends = lambda _, bare=bare: bare.physical()  # noqa: E731
        rows.append(Row(HEYOKA, accuracy, tolerance, SAMPLES, bare, ends))
    p, some = TaylorPropagator(MARS), all_.first(SOME)
    rows.append(Row("our scalar engine", TIGHT, TOLERANCE, SOME, lambda: scalar(some, p)))
    for accuracy, tolerance in ((LOOSE, 1e-8), (DISPERSED, LANES), (TIGHT, TOLERANCE)):
        fly = lambda tolerance=tolerance: batches(all_, tolerance)  # noqa: E731
        rows.append(Row(OURS, accuracy, tolerance, SAMPLES, fly))
    return rows


def averaging(all_: Flights, ends: np.ndarray) -> list[Row]:
    """The rows that average the elements of the ends, which end nowhere."""
    b, p, motion, times = TaylorBatches(MARS), TaylorPropagator(MARS), ring_motion(), all_.until[-1]
    one = lambda: [average(p, float(times[k]), ends[k], motion) for k in range(SOME)]  # noqa: E731
    return [
        Row("average, one at a time", TIGHT, TOLERANCE, SOME, one),
        Row(
            "average, side by side",
            TIGHT,
            TOLERANCE,
            SAMPLES,
            lambda: average_lanes(b, times, ends, motion),
        ),
    ]


def seconds(work: Callable[[], object]) -> float:
    """Wall time of one call, without the collector of Python's garbage, as timeit has it.

    JPype has Java collect whenever Python does, which about doubles Orekit's times.
    """
    gc.collect()
    gc.disable()
    try:
        start = time.perf_counter()
        work()
        return time.perf_counter() - start
    finally:
        gc.enable()


def gains(least: dict[tuple[str, str], float]) -> None:
    """Print how our batches compare with each row: at 1 m both, as dispersions fly, at best."""
    pairs = ((LOOSE, LOOSE), (DISPERSED, LOOSE), (TIGHT, TIGHT))  # ours, theirs
    print(
        f"\n{'our batches':40s} {'bar':>6s} {'both 1 m':>10s} {'dispersed':>10s} {'tightest':>10s}"
    )
    for label, bar in GAINS:
        if (label, LOOSE) in least:
            times = [least[label, theirs] / least[OURS, own] for own, theirs in pairs]
            print(
                f"{'times faster than ' + label:40s} {bar or '':>6}", *(f"{t:10.0f}" for t in times)
            )
    shares = [least[HEYOKA, theirs] / least[OURS, own] for own, theirs in pairs]
    print(f"{'share of the speed of ' + HEYOKA:40s} {SHARE:6}", *(f"{x:10.2f}" for x in shares))


def main() -> None:
    """Print microseconds a flight and how far its ends are from our batches', then the ratios."""
    all_ = samples(SAMPLES)
    ours, rows = batches(all_), rows_of(all_)
    off = {}
    for row in rows:
        ends = row.ends(row.work())
        away = np.linalg.norm((ends - ours[: len(ends)])[:, :3], axis=1)
        off[row.label, row.accuracy] = float(away.max())
    rows += averaging(all_, ours)
    turns = [[seconds(row.work) / row.flights for row in rows] for _ in range(WARM + TURNS)]
    best = np.min(turns[WARM:], axis=0).tolist()
    least = dict(zip([row[:2] for row in rows], best, strict=True))
    print(
        f"{'row':26s} {'accuracy':9s} {'tolerance':>9s} {'ends off, m':>12s} {'us a flight':>12s}"
    )
    for row in rows:
        away = off.get(row[:2])
        metres = "" if away is None else f"{away:.2g}"
        print(
            f"{row.label:26s} {row.accuracy:9s} {row.tolerance:9.0e} {metres:>12s}"
            f" {1e6 * least[row[:2]]:12,.1f}"
        )
    gains(least)
    far = [f"{label}, {accuracy}" for (label, accuracy), away in off.items() if not away <= WITHIN]
    if far:
        raise SystemExit(f"ends farther off than {WITHIN} m: {'; '.join(far)}")


if __name__ == "__main__":
    main()
