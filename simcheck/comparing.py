"""Two plans of one case, or of two, set side by side: each flown perfectly and judged by its own.

Burns are paired in order such that the impulses' differences add up to the least, one without a
partner counting in full (the alignment of Needleman and Wunsch, 1970). An error is better only if
it uses a hundredth less of its tolerance: below that it is where the aiming happened to stop.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from simcheck.arrays import Array
from simcheck.flying.mission import fly_plan
from simcheck.judging import judge
from simcheck.kernels.vectors import angle_between, norm
from simcheck.records.case import Case
from simcheck.records.comparison import (
    Better,
    BurnPair,
    BurnSide,
    Comparison,
    Figure,
    Group,
    Side,
)
from simcheck.records.plan import Burn, Plan
from simcheck.records.quantities import QUANTITIES, error_of

_ALIKE = 1e-9  # relative; what two computations of one plan may differ by
_AIMED = 0.01  # of a tolerance
_UNITS = {"_m_s": "m/s", "_kg": "kg", "_s": "s", "_m": "m"}  # ends of a margin's key, longest first


def compare(case_a: Case, plan_a: Plan, case_b: Case, plan_b: Plan) -> Comparison:
    """Fly both plans perfectly, each in its case, judge them and tell them apart.

    Raises FlightError where one of the flights cannot be computed.
    """
    a, b = _side(case_a, plan_a), _side(case_b, plan_b)
    figures = (*_costs(a, b), *_ends(a, b), *_margins(a, b))
    return Comparison(
        a=a,
        b=b,
        summary=_summary(a, b, figures),
        burns=tuple(_pair(a.plan, b.plan, i, j) for i, j in _paired(a.plan.burns, b.plan.burns)),
        figures=figures,
    )


def _side(case: Case, plan: Plan) -> Side:
    flight = fly_plan(case, plan, reference=False)
    return Side(title=case.title, plan=plan, flight=flight, verdict=judge(case, flight))


def _paired(a: tuple[Burn, ...], b: tuple[Burn, ...]) -> Iterator[tuple[int | None, int | None]]:
    """Indexes of burns that stand for each other, in order; None where there is no partner."""
    left = np.zeros((len(a) + 1, len(b) + 1))  # costs of pairing what is left from i and j on

    def steps(i: int, j: int) -> Iterator[tuple[float, int, int]]:
        if i < len(a) and j < len(b):
            yield float(norm(a[i].dv_m_s - b[j].dv_m_s)) + left[i + 1, j + 1], 1, 1
        if i < len(a):
            yield a[i].magnitude_m_s + left[i + 1, j], 1, 0
        if j < len(b):
            yield b[j].magnitude_m_s + left[i, j + 1], 0, 1

    def best(i: int, j: int) -> tuple[float, int, int]:
        return min(steps(i, j), key=lambda step: step[0])  # a pair, where nothing is better

    for i in range(len(a), -1, -1):
        for j in range(len(b), -1, -1):
            if i < len(a) or j < len(b):
                left[i, j] = best(i, j)[0]
    i = j = 0
    while i < len(a) or j < len(b):
        _, di, dj = best(i, j)
        yield (i if di else None), (j if dj else None)
        i, j = i + di, j + dj


def _pair(a: Plan, b: Plan, i: int | None, j: int | None) -> BurnPair:
    one = None if i is None else _burn(a, a.burns[i])
    two = None if j is None else _burn(b, b.burns[j])
    if i is None or j is None or one is None or two is None:
        return BurnPair(a=one, b=two)
    return BurnPair(
        a=one,
        b=two,
        later_s=two.time_s - one.time_s,
        more_m_s=two.dv_m_s - one.dv_m_s,
        turned_deg=_turned(a.burns[i].dv_m_s, b.burns[j].dv_m_s),
        turned_rsw_deg=_turned(a.burns[i].dv_rsw_m_s, b.burns[j].dv_rsw_m_s),
    )


def _burn(plan: Plan, burn: Burn) -> BurnSide:
    """A burn with its command, which a plan of impulses alone lacks."""
    own = [command for command in plan.commands if command.burn == burn.label]
    return BurnSide(
        label=burn.label,
        purpose=burn.purpose,
        time_s=burn.time_s,
        dv_m_s=burn.magnitude_m_s,
        duration_s=sum(command.duration_s for command in own),
        engine=own[0].engine if own else "none",
    )


def _turned(one: Array, other: Array) -> float:
    return math.degrees(float(angle_between(one, other)))


def _costs(a: Side, b: Side) -> Iterator[Figure]:
    """What the plans cost: less is better, of what does not only explain another number."""

    def figure(name: str, unit: str, one: float | None, two: float | None, less: int) -> Figure:
        return _figure(name, unit, "cost", one, two, -less)

    p, q, f, g = a.plan, b.plan, a.flight, b.flight
    yield figure("burns", "", float(len(p.burns)), float(len(q.burns)), 0)
    yield figure("total_dv_m_s", "m/s", p.total_dv_m_s, q.total_dv_m_s, 1)
    yield figure("losses_m_s", "m/s", _losses(p), _losses(q), 0)
    yield figure("commanded_dv_m_s", "m/s", p.commanded_dv_m_s, q.commanded_dv_m_s, 1)
    yield figure("lower_bound_dv_m_s", "m/s", p.lower_bound_dv_m_s, q.lower_bound_dv_m_s, 0)
    yield figure("above_lower_bound_m_s", "m/s", _above_floor(p), _above_floor(q), 1)
    yield figure("propellant_used_kg", "kg", f.propellant_used_kg, g.propellant_used_kg, 1)
    yield figure("arrival_time_s", "s", f.arrival_time_s, g.arrival_time_s, 1)


def _losses(plan: Plan) -> float:
    return plan.commanded_dv_m_s - plan.total_dv_m_s


def _above_floor(plan: Plan) -> float | None:
    floor = plan.lower_bound_dv_m_s
    return None if floor is None else plan.total_dv_m_s - floor


def _ends(a: Side, b: Side) -> Iterator[Figure]:
    """The four errors; the better one uses less of its tolerance."""
    for quantity in QUANTITIES:
        one, two = (error_of(side.flight.errors, quantity) for side in (a, b))
        used, other = (side.verdict.used.get(quantity.name, math.nan) for side in (a, b))
        made = _figure(quantity.error, quantity.unit, "end", one, two, 0)
        yield replace(made, better=_better(used, other, -1, _AIMED))


def _margins(a: Side, b: Side) -> Iterator[Figure]:
    """What is left of each limit; more is better."""
    one, two = a.verdict.margins, b.verdict.margins
    for key in dict.fromkeys([*one, *two]):
        unit = next(unit for end, unit in _UNITS.items() if key.endswith(end))
        yield _figure(key, unit, "margin", one.get(key), two.get(key), 1)


def _figure(
    name: str, unit: str, group: Group, a: float | None, b: float | None, more: int
) -> Figure:
    """more is 1 where the larger number is better, -1 where the smaller one is, else 0."""
    difference, better = None, None
    if a is not None and b is not None:
        difference = b - a
        better = _better(a, b, more, 0.0) if more else None
    return Figure(name=name, unit=unit, group=group, a=a, b=b, difference=difference, better=better)


def _better(a: float, b: float, more: int, apart: float) -> Better | None:
    if math.isnan(a) or math.isnan(b):
        return None
    if abs(a - b) <= max(apart, _ALIKE * max(abs(a), abs(b))):
        return "alike"
    return "B" if (b - a) * more > 0 else "A"


def _summary(a: Side, b: Side, figures: tuple[Figure, ...]) -> str:
    """Δv, time and verdicts in a sentence."""
    by_name = {figure.name: figure for figure in figures}
    dv, time = by_name["commanded_dv_m_s"], by_name["arrival_time_s"]
    costs = _compared(dv, 1.0, "m/s", ("costs", "more", "less"), "costs the same")
    comes = _compared(time, 86400.0, "days", ("arrives", "later", "earlier"), "arrives with it")
    words = (a.verdict.verdict, b.verdict.verdict)
    ends = f"both are {words[0]}" if words[0] == words[1] else f"A is {words[0]}, B is {words[1]}"
    return f"Against A, B {costs} and {comes}; {ends}."


def _compared(
    figure: Figure, size: float, unit: str, words: tuple[str, str, str], same: str
) -> str:
    if figure.difference is None or figure.better in {None, "alike"}:
        return same
    verb, more, less = words
    amount = f"{abs(figure.difference) / size:.3f} {unit}"
    return f"{verb} {amount} {more if figure.difference > 0.0 else less}"
