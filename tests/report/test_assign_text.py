"""Who goes where as text, from hand-made records."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from rich.cells import cell_len

from simcheck.records.fleet import (
    Angle,
    Approach,
    Assigned,
    Assignment,
    Fleet,
    FleetCraft,
    Pair,
    RunnerUp,
)
from simcheck.records.flight import Verdict
from simcheck.report.assign_text import assign_text
from tests.cli import samples
from tests.report.test_text import WIDTH, text_of

GOOD = Verdict(verdict="within", within={}, kept={}, used={}, margins={}, findings=())


def craft(name: str) -> FleetCraft:
    return FleetCraft(
        name=name,
        slot=None,
        dry_mass_kg=300.0,
        propellant_kg=120.0,
        position_m=np.array([9e6, 0.0, 0.0]),
        velocity_m_s=np.array([0.0, 2e3, 0.0]),
        engine=samples.case().engine,
        thrusters=None,
    )


def assigned(name: str, slot: int, **fields: Any) -> Assigned:
    made = Assigned(
        craft=name,
        slot=slot,
        share=0.5,
        waited_s=0.0,
        waited_revolutions=0,
        plan=samples.plan(),
        flight=samples.flight(arrival_time_s=9e4 - slot),
        verdict=GOOD,
    )
    return dataclasses.replace(made, **fields)


def pair(name: str, slot: int, known: Any, dv: float = 700.0, **fields: Any) -> Pair:
    arrival = math.nan if known == "bounded" else 86400.0
    return Pair(
        craft=name, slot=slot, known=known, dv_m_s=dv, share=0.4, arrival_time_s=arrival, **fields
    )


def assignment(**fields: Any) -> Assignment:
    made = Assignment(
        minimise="total-dv",
        ring_angle="fixed",
        argument_of_latitude_deg=10.0,
        planner="ring",
        value=1400.0,
        bound=1399.5,
        total_dv_m_s=1400.0,
        largest_share=0.5,
        last_arrival_s=9e4,
        order=("Egret", "Heron"),
        assigned=(assigned("Heron", 0), assigned("Egret", 1)),
        pairs=(
            pair("Heron", 0, "planned"),
            pair("Heron", 1, "estimated", 710.0),
            pair("Heron", 2, "bounded", 690.0),
            pair("Egret", 0, "no plan", math.nan, why="no plan fits [limits] dv"),
            pair("Egret", 1, "planned"),
            pair("Egret", 2, "not its slot", math.nan),
        ),
        runner_up=RunnerUp(
            slots={"Heron": 1, "Egret": 0}, value=1412.0, more=12.0, last_arrival_s=8e4, firm=False
        ),
        approaches=(
            Approach(one="Heron", other="Egret", distance_m=41e3, time_s=7200.0, kept=True),
        ),
        separation_m=20e3,
        angles=(),
        verdict="within",
        findings=(),
    )
    return dataclasses.replace(made, **fields)


def lines(found: Assignment, *names: str) -> str:
    base = samples.case()
    fleet = Fleet(base=base, craft=tuple(map(craft, names or ("Heron", "Egret"))))
    return text_of(assign_text(fleet, found, samples.ring(base)))


def rows(text: str) -> list[list[str]]:
    return [line.split() for line in text.splitlines()]


def test_who_goes_where_in_order_of_arrival() -> None:
    text = lines(assignment())
    numbered = [row for row in rows(text) if row and row[0] in {"1", "2"}]
    assert [row[:3] for row in numbered] == [["1", "Egret", "1"], ["2", "Heron", "0"]]
    assert "no assignment is better by more than 0.500 m/s" in text
    assert "Heron to 1, Egret to 0: 12.000 m/s more" in text
    assert "WITHIN. All 2 craft reach their slots and keep apart." in text


def test_every_pair_has_its_mark() -> None:
    """Assigned, estimated, bounded, none, not asked; the reason of none beside."""
    found = rows(lines(assignment()))
    assert ["Heron", "*700.0,", "1.00", "~710.0,", "1.00", ">690.0"] in found
    assert ["Egret", "x", "*700.0,", "1.00", "-"] in found
    assert "no plan fits [limits] dv" in lines(assignment())


def test_what_was_made_least_gives_its_unit() -> None:
    """A time, or per cent of the propellant."""
    later = assignment(minimise="time", value=9e4, bound=9e4 - 60.0)
    assert "better by more than 00:01:00.0" in lines(later)
    shares = assignment(minimise="largest-share", value=0.5, bound=0.49)
    assert "better by more than 1.000 % points" in lines(shares)


def test_waits_angles_and_a_lone_craft_are_told() -> None:
    angles = tuple(
        Angle(argument_of_latitude_deg=x, value=1.0, mean_arrival_s=1.0) for x in (10.0, 17.5, 40.0)
    )
    alone = assignment(
        ring_angle="free",
        angles=angles,
        order=("Heron",),
        assigned=(assigned("Heron", 0, waited_s=7200.0, waited_revolutions=1),),
        runner_up=None,
        approaches=(),
    )
    text = " ".join(lines(alone, "Heron").split())
    assert "the best of 3 angles tried by estimates, 7.5 deg apart near it" in text
    assert "Heron waits 1 revolution, 02:00:00.0, to keep clear of the others" in text
    assert "there is no other assignment" in text
    assert "WITHIN. Heron reaches its slot." in text


def test_too_close_is_outside() -> None:
    near = Approach(one="Heron", other="Egret", distance_m=5e3, time_s=60.0, kept=False)
    text = lines(assignment(approaches=(near,), verdict="outside", findings=("too near",)))
    assert "TOO CLOSE" in text
    assert "OUTSIDE. too near." in text


@pytest.mark.parametrize("size", [1e-12, 1e12])
def test_it_fits_the_screen(size: float) -> None:
    """Whatever the numbers and names are, and for many slots and craft."""
    names = [f"{k} " + "x" * 60 for k in range(8)]
    found = assignment(
        assigned=tuple(assigned(name, k, share=size) for k, name in enumerate(names)),
        order=tuple(names),
        pairs=tuple(pair(name, slot, "estimated", size) for name in names for slot in range(13)),
        runner_up=RunnerUp(
            slots=dict.fromkeys(names, 3), value=size, more=size, last_arrival_s=size, firm=True
        ),
        approaches=tuple(
            Approach(one=one, other=other, distance_m=size, time_s=size, kept=True)
            for one in names
            for other in names
        ),
        value=size,
        last_arrival_s=size,
    )
    text = lines(found, *names)
    assert max(map(cell_len, text.splitlines())) <= WIDTH
    assert "49 wider pairs left out." in text
