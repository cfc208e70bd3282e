"""How near the flights of a dispersion come to each member, and how likely they keep clear."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from simcheck.records.case import Case
from simcheck.records.dispersion import MemberApproach, Percentiles, Rows, Share, member_column


def member_approaches(
    case: Case,
    blocks: Iterable[Rows],
    parts: Sequence[Percentiles],
    share: Callable[[int], Share],
) -> tuple[Share | None, tuple[MemberApproach, ...]]:
    """How likely all members are kept clear of, and each member's closest approaches.

    parts are the percentiles of the members' columns; share makes a probability of a count. The
    likelihoods are None where no separation is asked for, or there is no member. A row without a
    value keeps clear of nothing.
    """
    if not case.members:
        return None, ()
    names = [member_column(k) for k in range(len(case.members))]
    kept, all_kept = [0] * len(names), 0
    least: list[tuple[float, int | None]] = [(math.inf, None)] * len(names)
    for rows in blocks:
        all_kept += int(np.sum(rows["closest_approach_m"] >= case.limits.separation_m))
        for k, name in enumerate(names):
            distance = np.where(np.isnan(rows[name]), np.inf, rows[name])
            kept[k] += int(np.sum(rows[name] >= case.limits.separation_m))
            first = int(np.argmin(distance))
            if distance[first] < least[k][0]:
                least[k] = float(distance[first]), int(rows["sample"][first])
    asked = case.limits.separation_m > 0.0
    found = tuple(
        MemberApproach(
            member=member.name,
            closest=part,
            least_m=value if sample is not None else math.nan,
            least_sample=sample,
            kept=share(good) if asked else None,
        )
        for member, part, (value, sample), good in zip(
            case.members, parts, least, kept, strict=True
        )
    )
    return share(all_kept) if asked else None, found
