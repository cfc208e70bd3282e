"""How good, how fast and how sure plans are, on a fixed set of invented cases.

    python benchmarks/planner.py [--only TEXT] [--accept]

The cases stand in planner_cases.csv: four bodies; rings inclined, polar, retrograde and equatorial;
starts inside, outside, across, circular and steep; from less than a ring period to weeks. Δv is
given against the floor, against the best known for the same time limit (from the long search of
best_known.py) and against the cheapest textbook sequence that reaches the slot in time. Seconds are
those of a warm process, given too as a ratio to a fixed piece of numpy work timed in the same run.
--accept writes the table to planner.baseline.csv; without it the table is compared with that file,
and what moved by more than 0.1 % of Δv is listed.
"""

from __future__ import annotations

import argparse
import csv
import time

import numpy as np

import simcheck
from cases import CASES, HERE, case_of, rows
from simcheck.errors import NoPlanError
from simcheck.planning.phasing import build, offers
from simcheck.planning.planner import limited
from simcheck.planning.problem import problem_of
from simcheck.planning.routes import handbook_routes
from simcheck.planning.searching import ARCS
from simcheck.records.case import Case

BASELINE = HERE / "planner.baseline.csv"
COLUMNS = ("name", "dv_m_s", "over_floor", "over_best_known", "textbook_over", "arrival_h", "burns")
MOVED = 1e-3


def textbook_dv(case: Case) -> float:
    """Least Δv in m/s of the handbook's sequences that reach the slot in time; NaN without one."""
    problem = limited(problem_of(case, ARCS[-1]), case)
    found = [
        offer.dv
        for route in handbook_routes(problem)
        if "first" in route.name or "between" in route.name or "last" in route.name
        for offer in offers(problem, route)
        if build(problem, offer) is not None
    ]
    return min(found, default=float("nan"))


def yardstick() -> float:
    """Seconds of a fixed piece of numpy work, the least of three."""
    least = np.inf
    for _ in range(3):
        start = time.perf_counter()
        x = np.linspace(0.0, 1.0, 300)
        for _ in range(20_000):
            x = np.sqrt(np.sin(x) ** 2 + np.cos(x) ** 2) * 0.5
        least = min(least, time.perf_counter() - start)
    return least


def measured(row: dict[str, str]) -> tuple[dict[str, str], float]:
    """The table's row of a case, and the seconds its plan took."""
    case = case_of(row)
    start = time.perf_counter()
    try:
        plan = simcheck.plan(case)
    except NoPlanError as refusal:
        blank = dict.fromkeys(COLUMNS, "")
        return blank | {"name": row["name"], "dv_m_s": f"none: {refusal.limit}"}, (
            time.perf_counter() - start
        )
    seconds = time.perf_counter() - start
    dv, best = plan.total_dv_m_s, float(row["best_known_m_s"] or "nan")
    values = (
        row["name"],
        f"{dv:.3f}",
        f"{dv / (plan.lower_bound_dv_m_s or np.nan) - 1:.5f}",
        f"{dv / best - 1:.5f}",
        f"{textbook_dv(case) / dv:.3f}",
        f"{plan.arrival_time_s / 3600:.2f}",
        str(len(plan.burns)),
    )
    return dict(zip(COLUMNS, values, strict=True)), seconds


def compared(table: list[dict[str, str]]) -> list[str]:
    """What moved against the baseline, in words."""
    with BASELINE.open(encoding="utf-8", newline="") as stream:
        known = {row["name"]: row["dv_m_s"] for row in csv.DictReader(stream)}
    lines = []
    for row in table:
        old, new = known.get(row["name"], "none"), row["dv_m_s"]
        planned = not (old.startswith("none") or new.startswith("none"))
        if planned and abs(float(new) / float(old) - 1) > MOVED:
            lines.append(f"{row['name']}: {old} m/s, now {new} m/s")
        elif not planned and old != new:
            lines.append(f"{row['name']}: {old}, now {new}")
    return lines


def main() -> None:
    """Print one line a case and the summary."""
    asked = argparse.ArgumentParser(description="The planner on a fixed set of cases.")
    asked.add_argument("--only", default="", metavar="TEXT", help="cases whose name holds this")
    asked.add_argument("--accept", action="store_true", help=f"write {BASELINE.name}")
    options = asked.parse_args()
    unit, table, times = yardstick(), [], []
    print(
        f"{'case':24s} {'Δv, m/s':>10s} {'/ floor':>8s} {'/ best':>8s} {'textbook /':>10s}"
        f" {'arrival, h':>10s} {'burns':>5s} {'s':>6s}"
    )
    for row in rows():
        if options.only not in row["name"]:
            continue
        line, seconds = measured(row)
        table.append(line)
        times.append(seconds)
        ratios = [
            f"{1 + float(line[k]):8.4f}" if line[k] else " " * 8
            for k in ("over_floor", "over_best_known")
        ]
        print(
            f"{line['name']:24s} {line['dv_m_s']:>10s} {' '.join(ratios)}"
            f" {line['textbook_over']:>10s} {line['arrival_h']:>10s} {line['burns']:>5s}"
            f" {seconds:6.2f}",
            flush=True,
        )
    summary(table, np.array(times), unit)
    if options.accept:
        with BASELINE.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows(table)
    elif BASELINE.exists():
        print("\n".join(compared(table) or ["nothing moved against the baseline"]))


def summary(table: list[dict[str, str]], times: np.ndarray, unit: float) -> None:
    """Success, quality and time of all cases together."""
    over = np.array([float(row["over_best_known"]) for row in table if row["burns"]])
    over = over[np.isfinite(over)]
    planned = sum(bool(row["burns"]) for row in table)
    print(f"\nplanned {planned} of {len(table)}")
    if len(over):
        print(
            f"Δv over the best known: median {np.median(over):.3%}, largest {over.max():.3%},"
            f" within 0.5 % in {np.mean(over <= 0.005):.1%}"
        )
    print(
        f"seconds a case: median {np.median(times):.2f}, largest {times.max():.2f};"
        f" median over the numpy yardstick {np.median(times) / unit:.1f}"
    )


if __name__ == "__main__":
    assert CASES.exists()
    main()
