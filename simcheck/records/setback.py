"""What losing a burn would cost."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, eq=False)
class Setback:
    """A burn that was lost altogether (lost = 1) or in part, and how the craft recovers.

    recovered says whether a plan within every limit brings the craft to its slot all the same;
    dv_m_s and days are what that takes beyond the plan, NaN where there is none. how says what is
    done, or which limit stands against it.
    """

    burn: str
    lost: float
    recovered: bool
    dv_m_s: float
    days: float
    how: str
