"""Many flights as text: how likely, how much, because of what, and which to look at."""

from __future__ import annotations

import math

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from simcheck.measuring import RingMotion
from simcheck.records.case import Case
from simcheck.records.dispersion import Dispersion, MemberApproach, Share
from simcheck.records.plan import Plan
from simcheck.report.judged_text import CAUTION
from simcheck.report.linear_text import linear_text
from simcheck.report.plan_text import header
from simcheck.report.tables import BAD, GOOD, cell, facts, heading, note, stacked, table
from simcheck.report.words import (
    clean,
    count,
    fixed,
    kilograms,
    kilometres,
    share,
    significant,
    speed,
)

_NAMES = {
    "phase_deg": "phase, deg",
    "period_s": "period, s",
    "eccentricity": "eccentricity",
    "plane_deg": "plane, deg",
    "dv_used_m_s": "Δv, m/s",
    "propellant_used_kg": "propellant, kg",
    "arrival_time_s": "arrival, s",
    "lowest_altitude_m": "lowest altitude, m",
    "closest_approach_m": "closest approach, m",
}
_SHOWN = (1.0, 50.0, 99.0, 99.87)
_NEAR = (1.0, 5.0, 50.0)
_MOST_NAMED = 12
_DRIVERS = 4


def dispersion_text(case: Case, plan: Plan, found: Dispersion, ring: RingMotion) -> RenderableType:
    """Everything that `simcheck disperse` says."""
    return stacked(
        header(case, plan, ring),
        heading("Flights"),
        facts(_flights(case, found)),
        *_percentiles(found),
        *_approaches(case, found),
        heading("Δv in four columns, which nothing adds"),
        facts(_dv(case, found)),
        heading("Propellant to load"),
        facts(_loads(case, found)),
        *_drivers(found),
        *(linear_text(found.linear) if found.linear else []),
        heading("To look at"),
        facts(_samples(found)),
        *_verdict(found),
    )


def _flights(case: Case, found: Dispersion) -> list[tuple[str, str]]:
    varies = any(size > 0 for size in vars(case.errors).values())
    within, outcomes = found.within, found.outcomes
    others = [f"{name} {number}" for name, number in outcomes.items() if number and name != "flown"]
    how = "closed loop: the team replans and trims" if found.closed_loop else "open loop"
    return [
        ("flights", f"{found.samples} of seed {found.seed}, {how}; {found.stopped_by}"),
        (
            "within",
            f"{within.count} = {share(within.probability)}, with {within.confidence:.0%} confidence"
            f" between {share(within.low)} and {share(within.high)} ({within.interval})",
        ),
        ("ended otherwise", ", ".join(others)),
        ("errors", "" if varies else "the case has none: every flight is the same one"),
    ]


def _percentiles(found: Dispersion) -> list[RenderableType]:
    names = ("", ">mean", *(f">{level:g} %" for level in _SHOWN), ">99 % at most")
    rows = []
    for name, part in found.percentiles.items():
        if name not in _NAMES or not math.isfinite(part.mean):
            continue
        values = dict(zip(part.levels, part.values, strict=True))
        high = dict(zip(part.levels, part.high, strict=True))
        rows.append(
            (
                _NAMES[name],
                significant(part.mean),
                *(significant(values[level]) for level in _SHOWN),
                significant(high[99.0]),
            )
        )
    said = (
        "The last column bounds the 99 % percentile from above with "
        f"{found.within.confidence:.0%} confidence by order statistics, whatever the distribution;"
        " unknown where there are too few flights for that."
    )
    return [heading("Percentiles"), table(names, rows), note(said)]


def _approaches(case: Case, found: Dispersion) -> list[RenderableType]:
    """How near the flights come to each member, and how likely they keep the separation."""
    if not found.approaches:
        return []
    rows = []
    nearest = sorted(found.approaches, key=_nearness)
    for one in nearest[:_MOST_NAMED]:
        part = one.closest
        values = dict(zip(part.levels, part.values, strict=True))
        low = dict(zip(part.levels, part.low, strict=True))
        rows.append(
            (
                one.member,
                _km(one.least_m),
                "" if one.least_sample is None else str(one.least_sample),
                _km(low[1.0]),
                *(_km(values[level]) for level in _NEAR),
                "" if one.kept is None else share(one.kept.probability),
            )
        )
    names = (
        "member",
        ">least, km",
        ">sample",
        ">1 % at least",
        *(f">{level:g} %" for level in _NEAR),
        ">kept" if found.separation else "",
    )
    said = (
        "At any time of each flight, burns included. The least of all flights and its sample; the"
        f" fourth column bounds the 1 % percentile from below with {found.within.confidence:.0%}"
        " confidence by order statistics."
    )
    left_out = len(nearest) - _MOST_NAMED
    if left_out > 0:
        said += f" {count(left_out, 'member')} further away not listed."
    return [
        heading("Closest approach to each member"),
        table(names, rows),
        note(said),
        *([facts(_separation(case, found.separation))] if found.separation else []),
    ]


def _nearness(one: MemberApproach) -> float:
    return one.least_m if math.isfinite(one.least_m) else math.inf


def _separation(case: Case, kept: Share) -> list[tuple[str, str]]:
    return [
        (
            "separation",
            f"{kilometres(case.limits.separation_m)} from every member is kept by {kept.count}"
            f" flights = {share(kept.probability)}, with {kept.confidence:.0%} confidence between"
            f" {share(kept.low)} and {share(kept.high)} ({kept.interval})",
        )
    ]


def _km(metres: float) -> str:
    return fixed(metres / 1e3, 3)


def _dv(case: Case, found: Dispersion) -> list[tuple[str, str]]:
    dv, part = found.dv, case.dispersion.margin_share
    margin = speed(dv.margin) + (f", {share(part)} of what the plan commands" if part else "")
    values = dict(zip(dv.statistical.levels, dv.statistical.values, strict=True))
    return [
        ("deterministic", f"{speed(dv.deterministic)}, the plan's impulses"),
        ("finite-burn loss", speed(dv.finite_burn_loss, sign=True)),
        (
            "statistical",
            f"mean {speed(dv.statistical.mean, sign=True)}, 50 % {speed(values[50.0], sign=True)}, "
            f"99 % {speed(values[99.0], sign=True)}, 99.87 % {speed(values[99.87], sign=True)}",
        ),
        ("policy margin", margin if dv.margin else "none asked for"),
    ]


def _loads(case: Case, found: Dispersion) -> list[tuple[str, str]]:
    rows = []
    for level, value in found.load_kg.items():
        high = found.load_high_kg[level]
        bound = f", at most {kilograms(high)}" if math.isfinite(high) else ", too few flights"
        part = found.margin_kg[level]
        margin = f"; {kilograms(part)} of it for the policy margin" if part > 0 else ""
        rows.append((f"for {level}", f"{kilograms(value)}{bound}{margin}"))
    return [*rows, ("on board", kilograms(case.craft.propellant_kg))]


def _drivers(found: Dispersion) -> list[RenderableType]:
    if not found.drivers:
        return [heading("What drives it"), note(found.method)]
    rows: dict[str, list[str]] = {}
    for driver in found.drivers:
        named = rows.setdefault(driver.outcome, [])
        if driver.source == "rest" or len(named) < _DRIVERS:
            named.append(f"{driver.source} {share(driver.share)}")
    pairs = [(_NAMES.get(name, name), ", ".join(parts)) for name, parts in rows.items()]
    return [heading("What drives it"), facts(pairs), note(found.method)]


def _samples(found: Dispersion) -> list[tuple[str, str]]:
    failures = ", ".join(map(str, found.failures[:_MOST_NAMED]))
    more = len(found.failures) + found.failures_left_out - _MOST_NAMED
    return [
        ("failures", (failures + (f" and {more} more" if more > 0 else "")) or "none"),
        ("furthest out", ", ".join(map(str, found.worst))),
        ("again", f"simcheck fly CASE --seed {found.seed} --sample N"),
    ]


def _verdict(found: Dispersion) -> list[RenderableType]:
    sure = f"with {found.within.confidence:.0%} confidence"
    asked = f"{share(found.asked)} of the flights end within"
    text = {
        "met": f"It is shown {sure} that {asked}.",
        "not met": f"It is ruled out {sure} that {asked}.",
        "inconclusive": f"It is neither shown nor ruled out {sure} that {asked}. {_more(found)}",
    }[found.decision]
    style = {"met": GOOD, "not met": BAD, "inconclusive": ""}[found.decision]
    sentence = cell(found.decision.upper() + ".", style)
    sentence.append(" " + clean(text), style="")
    return [heading("Verdict"), Padding(sentence, (0, 0, 0, 2)), Text(), note(CAUTION)]


def _more(found: Dispersion) -> str:
    if not math.isfinite(found.more_samples):
        return "The share seen is what is asked for: no number of samples settles that."
    return f"If the share seen holds, {count(int(found.more_samples), 'more sample')} settle it."
