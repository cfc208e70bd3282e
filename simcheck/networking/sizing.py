"""How large a ring must be, and of how many relays, for neighbours to see and to hear each other.

N relays on a circle of radius r see past a sphere of radius R + h where r cos(pi / N) >= R + h.
"""

from __future__ import annotations

import math

from simcheck.kernels.radio import decibels, free_space_loss_db, range_of_loss
from simcheck.kernels.visibility import (
    cap_angle,
    cap_share,
    eclipse_share,
    street_half_width,
)
from simcheck.records.case import Body, Case
from simcheck.records.network import LinkBudget, NetworkAim, RingGeometry

_SLACK = 1e-9  # of a count or a length: rounding is no reason to ask for one relay more


def ring_geometry(body: Body, aim: NetworkAim, slots: int, radius_m: float) -> RingGeometry:
    """The ideal circular ring of `slots` relays at this mean radius."""
    half = math.pi / slots
    floor = body.radius_m + aim.grazing_height_m
    limit = min(aim.max_range_m, budget_range(aim.link))
    distance = 2.0 * radius_m * math.sin(half)
    cap = float(cap_angle(radius_m, body.radius_m, aim.min_elevation_rad))
    period = math.tau * math.sqrt(radius_m**3 / body.gm_m3_s2)
    return RingGeometry(
        slots=slots,
        radius_m=radius_m,
        neighbour_range_m=distance,
        line_height_m=radius_m * math.cos(half) - body.radius_m,
        range_limit_m=limit,
        needed_radius_m=floor / math.cos(half) if slots >= 3 else None,
        needed_slots=_needed_slots(radius_m, floor, limit),
        cap_deg=math.degrees(cap),
        cap_share=float(cap_share(cap)),
        street_deg=math.degrees(float(street_half_width(cap, slots))) if slots >= 2 else 0.0,
        longest_shadow_s=period * float(eclipse_share(radius_m, body.radius_m, 0.0)),
        shadowless_beta_deg=math.degrees(math.asin(min(1.0, body.radius_m / radius_m))),
    )


def _needed_slots(radius: float, floor: float, limit: float) -> int | None:
    """Fewest relays whose neighbours see each other within the limit; None where none do."""
    if radius <= floor * (1.0 + _SLACK) or limit <= 0.0:
        return None
    for_sight = math.pi / math.acos(floor / radius)
    for_range = math.pi / math.asin(limit / (2.0 * radius)) if limit < 2.0 * radius else 2.0
    return max(3, math.ceil(max(for_sight, for_range) * (1.0 - _SLACK)))


def received_dbw(link: LinkBudget, distance_m: float) -> float:
    """Power that arrives over a distance, dBW (Friis)."""
    loss = float(free_space_loss_db(distance_m, link.frequency_hz))
    return _without_path(link) - loss


def margin_db(link: LinkBudget, distance_m: float) -> float:
    """What arrives over a distance, above the sensitivity."""
    return received_dbw(link, distance_m) - float(decibels(link.sensitivity_w))


def budget_range(link: LinkBudget | None) -> float:
    """Largest distance in m at which the budget has its margin; infinite without a budget."""
    if link is None:
        return math.inf
    needed = float(decibels(link.sensitivity_w)) + link.margin_db
    return float(range_of_loss(_without_path(link) - needed, link.frequency_hz))


def _without_path(link: LinkBudget) -> float:
    gains = link.transmit_gain_db + link.receive_gain_db - link.losses_db
    return float(decibels(link.power_w)) + gains


def ring_warning(case: Case, radius_m: float) -> str | None:
    """What keeps the ring's neighbours from a link at this mean radius, and what would mend it.

    None where nothing does, and below three slots, which are no ring.
    """
    if case.ring.slots < 3:
        return None
    found = ring_geometry(case.body, case.network, case.ring.slots, radius_m)
    wrong = [*_hidden(case, found), *_far(found)]
    if not wrong:
        return None
    return f"{'. '.join(wrong)}. {_remedy(found)}"


def _hidden(case: Case, found: RingGeometry) -> list[str]:
    needed, body, grazing = found.needed_radius_m, case.body, case.network.grazing_height_m
    if needed is None or found.radius_m >= needed * (1.0 - _SLACK):
        return []
    over = f"{_km(grazing)} above the surface of {body.name}" if grazing else body.name
    height = found.line_height_m
    passes = f"{_km(height)} above" if height >= 0.0 else f"{_km(-height)} below"
    return [
        f"Neighbours do not see each other past {over}: the line between them passes {passes} the"
        f" surface; {found.slots} relays need a radius of {_km(needed)}, an altitude of"
        f" {_km(needed - body.radius_m)}"
    ]


def _far(found: RingGeometry) -> list[str]:
    if found.neighbour_range_m <= found.range_limit_m * (1.0 + _SLACK):
        return []
    return [
        f"Neighbours are {_km(found.neighbour_range_m)} apart, beyond the range of a link,"
        f" {_km(found.range_limit_m)}"
    ]


def _remedy(found: RingGeometry) -> str:
    if found.needed_slots is None:
        return "No number of relays closes the ring at this radius."
    return f"At this radius the ring closes with {found.needed_slots} relays or more."


def _km(metres: float) -> str:
    return f"{metres / 1e3:.1f} km"
