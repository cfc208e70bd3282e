"""What an engineer prefers of several plans, and how hard a planner is to look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from simcheck.records.plan import Plan

Preference: TypeAlias = Literal["balance", "time", "dv"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Wish:
    """What the command line or a caller asks of a planner beyond the case.

    prefer: "balance" takes the earliest of all plans within 0.5 % of the cheapest, "dv" the
    cheapest, "time" the earliest that the limits allow. effort multiplies the search's starts and
    rounds, 0 asks for a quick answer in closed form only; seed draws those beyond the first
    helping.

    flying, where the craft is already on its way, is what is left of the plan that it flies, on the
    case's clock: to be kept, with its burns re-aimed from the case's state, unless another plan is
    clearly cheaper. most_burns, where given, is how many burns there may be. A planner may ignore
    both.
    """

    prefer: Preference = "balance"
    effort: int = 1
    seed: int = 0
    flying: Plan | None = None
    most_burns: int | None = None
