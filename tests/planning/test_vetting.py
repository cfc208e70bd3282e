"""What is wrong with a planner's answer: every fault is named, with what was expected and got."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.planning.vetting import faults
from simcheck.records.plan import Alternative, Plan, Watch
from tests.planning.plans import sound, sound_case, with_burn, with_command

INF, NAN = float("inf"), float("nan")
UP = np.array([0.0, 0.0, 1.0])


def test_a_sound_plan_has_no_fault() -> None:
    """Neither has the plan of a craft that has nothing to do."""
    assert faults(sound_case(), sound()) == []
    nothing = replace(
        sound(), burns=(), commands=(), total_dv_m_s=0.0, commanded_dv_m_s=0.0, arrival_time_s=0.0
    )
    assert faults(sound_case(), nothing) == []


def test_the_watches_of_the_records_pass() -> None:
    """Each quantity with what it needs."""
    for watch in (
        Watch(quantity="period_s", target=4e4),
        Watch(quantity="apsis_radius_m", target=1e7),
        Watch(quantity="tilt", target=-0.1, direction=UP),
    ):
        assert faults(sound_case(), with_command(0, cutoff="orbit", watch=watch)) == []


@pytest.mark.parametrize(
    ("answer", "got"),
    [
        (None, "got None"),
        ((), "got a tuple"),
        ("no plan", "got 'no plan'"),
        (4.0, "got 4.0"),
        (object(), "got an object"),
    ],
)
def test_what_is_no_plan(answer: object, got: str) -> None:
    """Anything else is named for what it is."""
    assert faults(sound_case(), answer) == [f"expected a Plan, {got}"]


def other(**fields: Any) -> Alternative:
    made: dict[str, Any] = {
        "summary": "s",
        "burns": 2,
        "total_dv_m_s": 1.0,
        "arrival_time_s": 1.0,
        "why_not": "w",
    }
    return Alternative(**(made | fields))


TYPES = [
    (replace(sound(), planner=None), "plan: planner: expected text, got None"),
    (replace(sound(), summary=3), "plan: summary: expected text, got 3"),
    (replace(sound(), total_dv_m_s=NAN), "plan: total_dv_m_s: expected a finite number, got nan"),
    (replace(sound(), arrival_time_s=INF), "plan: arrival_time_s: expected a finite number"),
    (replace(sound(), commanded_dv_m_s="500"), "commanded_dv_m_s: expected a finite number"),
    (replace(sound(), lower_bound_dv_m_s=NAN), "plan: lower_bound_dv_m_s: expected a finite"),
    (replace(sound(), arrival_state=None), "plan: arrival_state: expected a State, got None"),
    (replace(sound(), primer=1.0), "plan: primer: expected a Primer or None, got 1.0"),
    (replace(sound(), warnings="hot"), "plan: warnings: expected a tuple of texts, got 'hot'"),
    (replace(sound(), warnings=(1,)), "plan: warnings: expected a tuple of texts"),
    (replace(sound(), burns=[]), "plan: burns: expected a tuple of Burn records, got a list"),
    (replace(sound(), commands=(1,)), "plan: commands: expected a tuple of Command records"),
    (replace(sound(), alternatives=None), "plan: alternatives: expected a tuple of Alternative"),
    (replace(sound(), alternatives=(other(total_dv_m_s=NAN),)), "alternatives[0]: total_dv_m_s"),
    (replace(sound(), alternatives=(other(why_not=None),)), "alternatives[0]: why_not: expected"),
    (with_burn(1, label=None), "burns[1]: label: expected text, got None"),
    (with_burn(1, reason=None), "burns[1]: reason: expected text"),
    (with_burn(1, time_s=NAN), "burns[1]: time_s: expected a finite number, got nan"),
    (with_burn(0, magnitude_m_s=INF), "burns[0]: magnitude_m_s: expected a finite number"),
    (with_command(0, burn=1), "commands[0]: burn: expected text, got 1"),
    (with_command(0, ignition_s=NAN), "commands[0]: ignition_s: expected a finite number"),
    (with_command(0, duration_s=INF), "commands[0]: duration_s: expected a finite number"),
    (with_command(0, dv_m_s=None), "commands[0]: dv_m_s: expected a finite number, got None"),
    (with_command(0, engine="main"), "engine: expected one of engine, thrusters, got 'main'"),
    (with_command(0, steering="TNW"), "steering: expected one of inertial, rsw, got 'TNW'"),
    (with_command(0, cutoff="time"), "cutoff: expected one of duration, velocity, orbit"),
    (with_command(0, watch=3.0), "commands[0]: watch: expected a Watch or None, got 3.0"),
    (
        with_command(0, watch=Watch(quantity="energy", target=1.0)),  # type: ignore[arg-type]
        "commands[0]: watch: quantity: expected one of period_s, apsis_radius_m, tilt",
    ),
    (
        with_command(0, watch=Watch(quantity="period_s", target=NAN)),
        "commands[0]: watch: target: expected a finite number, got nan",
    ),
]


@pytest.mark.parametrize(("plan", "fault"), TYPES, ids=[fault for _, fault in TYPES])
def test_fields_of_the_wrong_kind(plan: Plan, fault: str) -> None:
    """Each field must be what the record says, each number finite; the rest is then not asked."""
    (found,) = faults(sound_case(), plan)
    assert fault in found


def doubled() -> Plan:
    """Both commands for the first burn."""
    return with_command(1, burn="B1")


def swapped(name: str) -> Plan:
    return replace(sound(), **{name: getattr(sound(), name)[::-1]})


SENSE = [
    (with_burn(1, label="B1"), "burns[1]: label: expected one that no other burn has, got 'B1'"),
    (with_burn(1, label=" "), "burns[1]: label: expected one that no other burn has, got ' '"),
    (with_burn(0, time_s=-5.0), "B1: time_s: expected a time after the epoch, 0 s, got -5"),
    (with_burn(1, time_s=2e9), "B2: time_s: expected a time before 1e+09 s, got 2e+09"),
    (with_burn(1, position_m=np.zeros(3)), "B2: position_m: expected a place away from"),
    (
        with_burn(1, dv_m_s=np.array([0.0, 190.0, 0.0])),
        "B2: dv_m_s: expected a vector of length magnitude_m_s = 200, got one of length 190",
    ),
    (
        with_burn(1, dv_rsw_m_s=np.array([0.0, 190.0, 0.0])),
        "B2: dv_rsw_m_s: expected a vector of length magnitude_m_s = 200, got one of length 190",
    ),
    (swapped("burns"), "B1: time_s: expected a time after that of B2, 60000 s, got 20000"),
    (with_command(1, burn="B7"), "commands[1]: burn: expected the label of a burn, got 'B7'"),
    (doubled(), "commands[1]: burn: 'B1' has a command already"),
    (with_command(0, ignition_s=-1.0), "B1: ignition_s: expected a time after the epoch, 0 s"),
    (with_command(1, ignition_s=2e9), "B2: ignition_s: expected a time before 1e+09 s, got 2e+09"),
    (swapped("commands"), "B1: ignition_s: expected a time after that of B2"),
    (
        with_command(1, ignition_s=20_000.0),
        "B2: ignition_s: expected a time after the cutoff of B1, 20218.0917 s, got 20000",
    ),
    (with_command(1, duration_s=0.0), "B2: duration_s: expected more than 0, got 0"),
    (with_command(1, dv_m_s=-1.0), "B2: dv_m_s: expected more than 0, got -1"),
    (with_command(1, direction=2 * UP), "B2: direction: expected a vector of length 1, got one"),
    (with_command(1, cutoff="orbit"), 'B2: watch: expected what to watch, since cutoff is "orbit"'),
    (
        with_command(1, watch=Watch(quantity="tilt", target=0.1, direction=2 * UP)),
        "B2: watch.direction: expected a vector of length 1, got one of length 2",
    ),
    (
        with_command(1, watch=Watch(quantity="tilt", target=0.1)),
        "B2: watch.direction: expected the direction of the tilt, got None",
    ),
    (
        with_command(1, watch=Watch(quantity="tilt", target=1.1, direction=UP)),
        "B2: watch.target: expected a sine, from -1 to 1, got 1.1",
    ),
    (
        with_command(1, watch=Watch(quantity="period_s", target=0.0)),
        "B2: watch.target: expected more than 0, got 0",
    ),
    (with_command(1, dv_m_s=201.0), "B2: dv_m_s: expected 200, what 400 N at an Isp of 318 s"),
    (replace(sound(), total_dv_m_s=499.0), "plan: total_dv_m_s: expected the burns' sum, 500, got"),
    (
        replace(sound(), commanded_dv_m_s=490.0),
        "plan: commanded_dv_m_s: expected the commands' sum, 500, got 490",
    ),
    (
        replace(sound(), arrival_time_s=50_000.0),
        "plan: arrival_time_s: expected a time not before the last burn, 60000 s",
    ),
    (replace(sound(), arrival_time_s=2e9), "and not after 1e+09 s, got 2e+09"),
]


@pytest.mark.parametrize(("plan", "fault"), SENSE, ids=[fault for _, fault in SENSE])
def test_a_plan_that_makes_no_sense(plan: Plan, fault: str) -> None:
    """What contradicts itself, the clock or the engines is said with its burn and the numbers."""
    assert any(fault in line for line in faults(sound_case(), plan, "the epoch"))


def test_thrusters_where_there_are_none() -> None:
    """The case has to have what is commanded."""
    plan = with_command(1, engine="thrusters")
    (fault,) = faults(sound_case(thrusters=None), plan)
    assert fault == "B2: engine: the case has no thrusters, got 'thrusters'"


def test_more_than_the_tank_holds() -> None:
    """The propellant left at a burn bounds its length, whatever the Δv it is said to make."""
    made = sound_case()
    short = replace(made, craft=replace(made.craft, propellant_kg=80.0))
    (fault,) = [line for line in faults(short, sound()) if "propellant" in line]
    # 80 kg less what 436.18 s at 400 N / (318 s g0) = 0.128266 kg/s have taken, and its seconds.
    assert "B2: duration_s: expected 187.52 at most, as long as the 24.0524 kg" in fault
    assert fault.endswith("of propellant then left last, got 268.33")


def test_the_mass_falls_from_burn_to_burn() -> None:
    """The second burn is held against the mass that the first has left."""
    first = sound().commands[0].duration_s
    later = [replace(c, ignition_s=c.ignition_s + first) for c in sound().commands]
    alone = replace(
        sound(),
        commands=(later[1],),
        commanded_dv_m_s=200.0,
    )
    (fault,) = faults(sound_case(), alone)
    assert fault.startswith(
        "B2: dv_m_s: expected 181.113, what 400 N at an Isp of 318 s make of 610"
    )


@pytest.mark.parametrize(
    ("engine", "fault"),
    [
        ({"min_burn_s": 450.0}, "B1: duration_s: expected 450 at least, the min_burn of the"),
        ({"max_burn_s": 300.0}, "B1: duration_s: expected 300 at most, the max_burn of the engine"),
    ],
)
def test_burns_that_the_engine_cannot_make(engine: dict[str, float], fault: str) -> None:
    """Shorter than min_burn or longer than max_burn cannot be commanded."""
    made = sound_case()
    lines = faults(replace(made, engine=replace(made.engine, **engine)), sound())
    assert any(fault in line for line in lines)


@pytest.mark.parametrize("share", [-1e-4, 1e-4])
def test_a_reckoning_of_its_own_is_let_pass(share: float) -> None:
    """A tenth of a per mille of Δv is another g0, and no fault."""
    plan = with_command(0, dv_m_s=300.0 * (1 + share))
    assert faults(sound_case(), plan) == []
