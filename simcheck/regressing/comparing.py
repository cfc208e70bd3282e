"""What was found against a baseline: each value the same, better, worse or just changed."""

from __future__ import annotations

import math
from collections.abc import Iterator

from simcheck.records.baseline import (
    Baseline,
    CaseRegression,
    Difference,
    Found,
    Move,
    Standing,
    Trial,
)
from simcheck.records.case import Case
from simcheck.records.measures import (
    GROUPS,
    Better,
    Measure,
    measure_at,
    paths_of,
)

_ROUNDING = 1e-9  # of a drift that is exactly what is allowed


def compare(case: Case, found: Found, baseline: Baseline | None, trial: Trial) -> CaseRegression:
    """Set what was found of a case against its baseline, if there is one."""
    differences = (
        ()
        if baseline is None or found.failure is not None
        else tuple(_compared(found, baseline, trial))
    )
    return CaseRegression(
        path=case.path,
        title=case.title,
        epoch=case.epoch,
        inputs_sha256=case.inputs_sha256,
        standing=_standing(found, baseline, differences),
        found=found,
        baseline=baseline,
        differences=differences,
        notes=tuple(_notes(case, found, baseline, trial)),
    )


def allowed_drift(path: str, value: float, found: Found, baseline: Baseline | None) -> float:
    """How far the value at a path may drift from `value`, in its unit."""
    measure = measure_at(path)
    allowed = measure.allowed
    if baseline is not None:
        allowed = baseline.allowed.get(f"{measure.group}.{measure.name}", allowed)
    return allowed.drift(value if measure.of == "value" else found.scales.get(path, math.nan))


def _standing(
    found: Found, baseline: Baseline | None, differences: tuple[Difference, ...]
) -> Standing:
    """A change that is neither good nor bad is excused by one that is good, with none bad: a
    better plan burns elsewhere."""
    if found.failure is not None:
        return "failed"
    if baseline is None:
        return "no baseline"
    moves = {difference.move for difference in differences}
    order: tuple[Move, ...] = ("worse", "better", "changed")
    return next((move for move in order if move in moves), "same")


def _compared(found: Found, baseline: Baseline, trial: Trial) -> Iterator[Difference]:
    """The differences of all values that both can be held to, in the order of a baseline.

    With a plan on one side only that alone is compared; with another number of burns not each
    burn; with other flights, or none, not what they say.
    """
    new, old = found.values, baseline.values
    if new.get("plan.result") != old.get("plan.result"):
        yield _difference("plan.result", found, baseline)
        return
    burns, other = (int(float(values.get("plan.burns", 0.0))) for values in (new, old))
    left_out = {
        "burn": burns != other,
        "dispersion": not _same_flights(found, baseline, trial),
    }
    for group in GROUPS:
        if not left_out.get(group, False):
            paths = paths_of(group, burns)
            yield from (_difference(x, found, baseline) for x in paths if x in new or x in old)


def _same_flights(found: Found, baseline: Baseline, trial: Trial) -> bool:
    """Whether the same flights were dispersed: samples of a seed are the same draws."""
    both = all("dispersion.within" in values for values in (found.values, baseline.values))
    made = baseline.trial
    return both and (made.samples, made.seed) == (trial.samples, trial.seed)


def _difference(path: str, found: Found, baseline: Baseline) -> Difference:
    old, new = baseline.values.get(path), found.values.get(path)
    change = allowed = None
    if old is None or new is None:
        move: Move = "changed"
    elif isinstance(old, str) or isinstance(new, str):
        move = word_move(measure_at(path), str(old), str(new))
    else:
        allowed = allowed_drift(path, old, found, baseline)
        change = new - old
        move = number_move(measure_at(path).better, old, new, allowed)
    return Difference(path=path, baseline=old, found=new, change=change, allowed=allowed, move=move)


def number_move(better: Better, old: float, new: float, allowed: float) -> Move:
    """How a number moved; NaN, which could not be measured, is worse than any number."""
    if math.isnan(old) or math.isnan(new):
        if math.isnan(old) and math.isnan(new):
            return "same"
        return "worse" if math.isnan(new) else "better"
    bar = allowed * (1.0 + _ROUNDING)
    if abs(new - old) <= bar:
        return "same"
    loss = {
        "lower": new - old,
        "higher": old - new,
        "nearer zero": abs(new) - abs(old),
        "none": 0.0,
    }[better]
    if abs(loss) <= bar:
        return "changed"
    return "worse" if loss > 0.0 else "better"


def word_move(measure: Measure, old: str, new: str) -> Move:
    """How a word moved: by its place among those known, the best of which stands first."""
    if old == new:
        return "same"
    words = measure.words
    places = [words.index(word) if word in words else len(words) for word in (old, new)]
    if places[0] == places[1]:
        return "changed"
    return "worse" if places[1] > places[0] else "better"


def _notes(case: Case, found: Found, baseline: Baseline | None, trial: Trial) -> Iterator[str]:
    if baseline is None:
        return
    made = baseline.trial
    if baseline.inputs_sha256 != case.inputs_sha256:
        yield "the case file changed since the baseline was made"
    if made.planner != trial.planner:
        yield f"the baseline was made by the planner {made.planner}"
    if made.effort != trial.effort:
        yield f"the baseline was made with effort {made.effort}"
    yield from _dispersion_notes(found, baseline, trial)


def _dispersion_notes(found: Found, baseline: Baseline, trial: Trial) -> Iterator[str]:
    here, there = ("dispersion.within" in values for values in (found.values, baseline.values))
    made = baseline.trial
    if here and not there and baseline.values.get("plan.result") == "planned":
        yield "the baseline has no dispersed flights to compare with"
    elif there and not here and found.failure is None:
        yield f"not dispersed here; the baseline's {made.samples} flights are not compared"
    elif here and there and not _same_flights(found, baseline, trial):
        yield (
            f"the baseline dispersed {made.samples} flights of seed {made.seed}; they are not "
            f"compared with {trial.samples} of seed {trial.seed}"
        )
