"""The best Δv known for each benchmark case in its time limit, by a long search from many starts.

    python benchmarks/best_known.py [--only TEXT]

Some 1,300 random courses of two to five burns a case are refined with looser stops than the
planner's own, burns are added where the primer asks for them or parted where they are at their
longest, and the least of these, of the planner's courses and of what stands in the table is written
back to planner_cases.csv. All limits are those of the planner's own search, the angle that a burn
may sweep among them: a plan with longer burns has less Δv in impulses, and no less once flown.
--anew forgets what stands in the table. Takes a quarter of a minute a case.
"""

from __future__ import annotations

import argparse
import csv

import numpy as np

from cases import CASES, case_of, rows
from simcheck.planning.courses import Field, field_of
from simcheck.planning.dating import dated
from simcheck.planning.finishing import polished
from simcheck.planning.planner import limited
from simcheck.planning.problem import problem_of
from simcheck.planning.refining import Course, refined, started
from simcheck.planning.searching import ARCS, search
from simcheck.planning.variations import parted, with_another

STARTS = ((2, 200), (3, 400), (4, 400), (5, 300))
KEPT = 40
ROUNDS = 4


def scattered(field: Field, burns: int, count: int) -> list[Course]:
    """Random courses."""
    stream = np.random.default_rng(11 + burns)
    times = np.sort(stream.uniform(0.0, field.span, (count, burns)), axis=1)
    pushes = 0.25 * stream.standard_normal((count, 3 * (burns - 1)))
    return [started(x, field.span) for x in np.concatenate([times, pushes], axis=1)]


def best_dv(row: dict[str, str]) -> float:
    """The least Δv found, m/s."""
    case = case_of(row)
    problems = [limited(problem_of(case, arc), case) for arc in ARCS]
    found = search(problems)
    known = [entry.dv for entry in found.entries]
    if min(known, default=np.inf) <= found.floor * (1 + 1e-4):
        return min(known)
    field = field_of(found.problem)
    pool = [c for n, m in STARTS for c in refined(field, scattered(field, n, m))]
    for _ in range(ROUNDS):
        top = sorted(pool, key=lambda x: x.cost)[:KEPT]
        pool += refined(field, top + with_another(field, top) + parted(field, top))
    done = polished(field, sorted(pool, key=lambda x: x.cost)[:KEPT])
    return min([*known, *(dated(found.problem, x.point).dv for x in done)])


def main() -> None:
    """Rewrite the column best_known_m_s where a lower value is found."""
    asked = argparse.ArgumentParser(description="Long searches for the best known Δv.")
    asked.add_argument("--only", default="", metavar="TEXT", help="cases whose name holds this")
    asked.add_argument("--anew", action="store_true", help="forget what is known")
    options = asked.parse_args()
    table = rows()
    for row in table:
        if options.only in row["name"]:
            known = "" if options.anew else row["best_known_m_s"]
            best = min(best_dv(row), float(known or "inf"))
            row["best_known_m_s"] = f"{best:.4f}" if np.isfinite(best) else ""
            print(row["name"], row["best_known_m_s"], flush=True)
            with CASES.open("w", encoding="utf-8", newline="") as stream:
                writer = csv.DictWriter(stream, list(row), lineterminator="\n")
                writer.writeheader()
                writer.writerows(table)


if __name__ == "__main__":
    main()
