"""What an engineer prefers of several plans, and how hard a planner is to look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Preference: TypeAlias = Literal["balance", "time", "dv"]


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What the command line or a caller asks of a planner beyond the case.

    prefer: "balance" takes the earliest of all plans within 0.5 % of the cheapest, "dv" the
    cheapest, "time" the earliest that the limits allow. effort multiplies the search's starts and
    rounds; seed draws those beyond the first helping.
    """

    prefer: Preference = "balance"
    effort: int = 1
    seed: int = 0
