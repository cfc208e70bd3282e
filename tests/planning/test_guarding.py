"""The guard around a planner: its faults are told as its own, with how to see them again."""

from __future__ import annotations

import pickle
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simcheck.errors import FlightError, InputError, NoPlanError, PlannerError
from simcheck.planning.guarding import Guarded, Source, guarded
from simcheck.planning.planner import plan_ring
from simcheck.records.case import Case
from simcheck.records.plan import Plan
from simcheck.records.wish import Wish
from tests.planning.plans import sound, sound_case, with_burn, with_command

SOURCE = Source("mine", "my_package:plan", "my-package 1.2")


def answering(answer: Any) -> Guarded:
    """A guarded planner that gives this answer, or raises it."""

    def plan(case: Case, wish: Wish) -> Plan:
        if isinstance(answer, BaseException):
            raise answer
        return answer  # type: ignore[no-any-return]

    return Guarded(SOURCE, plan)


def blamed(answer: Any, wish: Wish | None = None, path: str = "relay.toml") -> PlannerError:
    """What the guard says of an answer."""
    made = replace(sound_case(), path=path)
    with pytest.raises(PlannerError) as raised:
        answering(answer)(made, wish or Wish())
    assert raised.value.case is made
    return raised.value


def test_a_sound_plan_passes_untouched() -> None:
    """The very object comes back."""
    plan = sound()
    assert answering(plan)(sound_case(), Wish()) is plan


@pytest.mark.parametrize(
    "error",
    [NoPlanError("none", limit="dv", excess=1.0), InputError("not for this"), FlightError("no")],
)
def test_errors_of_simcheck_pass(error: Exception) -> None:
    """What a planner may raise, and what our own functions raise within it, stays as it is."""
    with pytest.raises(type(error)) as raised:
        answering(error)(sound_case(), Wish())
    assert raised.value is error


def test_what_it_is_not_made_for_is_in_flight_no_plan() -> None:
    """The team then goes on without it, as it does where no plan exists."""
    with pytest.raises(NoPlanError, match="only round orbits") as raised:
        answering(InputError("only round orbits"))(sound_case(), Wish(flying=sound()))
    assert raised.value.limit == "planner"


@pytest.mark.parametrize(
    "error", [ZeroDivisionError("by\nzero"), KeyError("x"), SystemExit(0), RecursionError()]
)
def test_an_exception_of_its_own_is_its_fault(error: BaseException) -> None:
    """Named with its place and text, and kept as the cause."""
    found = blamed(error)
    (fault,) = found.faults
    assert fault.startswith(f"it raised {type(error).__name__} at test_guarding.py:")
    assert "\n" not in fault
    assert found.__cause__ is error
    assert found.exit_code == 76


def test_an_interrupt_is_nobodys_fault() -> None:
    """Control-C passes."""
    with pytest.raises(KeyboardInterrupt):
        answering(KeyboardInterrupt())(sound_case(), Wish())


def test_a_record_that_refuses_its_numbers() -> None:
    """NaN in a vector is refused by the record, within the planner."""

    def plan(case: Case, wish: Wish) -> Plan:
        return with_burn(0, dv_m_s=np.array([np.nan, 0.0, 0.0]))

    with pytest.raises(PlannerError, match=r"ValueError at arrays\.py:.*expected finite numbers"):
        Guarded(SOURCE, plan)(sound_case(), Wish())


def test_the_message_is_all_that_is_needed() -> None:
    """Planner, package, every fault with its burn and numbers, and the command."""
    found = blamed(replace(with_command(1, dv_m_s=200.4), total_dv_m_s=499.0))
    assert str(found).splitlines() == [
        "the planner mine (my-package 1.2, my_package:plan) is at fault",
        "  B2: dv_m_s: expected 200, what 400 N at an Isp of 318 s make of 554.052 kg in 268.33 s,"
        " got 200.4",
        "  plan: total_dv_m_s: expected the burns' sum, 500, got 499",
        "  to reproduce: simcheck plan relay.toml --planner mine",
    ]
    assert found.in_a_line.count("\n") == 0
    assert "; plan: total_dv_m_s" in found.in_a_line


@pytest.mark.parametrize(
    ("wish", "path", "again"),
    [
        (Wish(), "a.toml", "simcheck plan a.toml --planner mine"),
        (
            Wish(prefer="dv", effort=3, seed=7),
            "a.toml",
            "simcheck plan a.toml --planner mine --prefer dv --effort 3 --seed 7",
        ),
        (Wish(), "", "ask it for `case` with `wish` of this error"),
        (Wish(flying=sound()), "a.toml", "the same command; in flight"),
        (Wish(effort=0), "a.toml", "the same command; in flight"),
    ],
)
def test_how_to_see_it_again(wish: Wish, path: str, again: str) -> None:
    """The command with its options; in flight and from Python the case itself."""
    found = blamed(None, wish, path)
    assert found.again.startswith(again)
    assert found.wish is wish


def test_in_flight_the_past_ends_at_the_estimate() -> None:
    """What begins before it is told so."""
    early = with_command(0, ignition_s=-60.0)
    assert "after the estimate, 0 s, got -60" in str(blamed(early, Wish(flying=sound())))
    assert "after the case's epoch, 0 s, got -60" in str(blamed(early))


def test_what_a_planner_prints_is_not_the_result(capsys: pytest.CaptureFixture[str]) -> None:
    """It goes to stderr, for stdout may be a JSON document."""

    def plan(case: Case, wish: Wish) -> Plan:
        print("step 1")
        return sound()

    Guarded(SOURCE, plan)(sound_case(), Wish())
    assert capsys.readouterr() == ("", "step 1\n")


def test_it_goes_to_other_processes_by_name() -> None:
    """A planner that cannot be pickled is loaded anew there; its errors come back whole."""
    ours = Source("ring", "simcheck.planning.planner:plan_ring", "simcheck")
    copy = pickle.loads(pickle.dumps(Guarded(ours, lambda case, wish: sound())))
    assert copy.function is plan_ring
    found = blamed(None)
    back = pickle.loads(pickle.dumps(found))
    assert (str(back), back.case.title) == (str(found), found.case.title)


def test_loading_may_print_and_exit(
    tmp_path: Any, monkeypatch: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    """A package that ends the process when imported is at fault; what it prints is not ours."""
    (tmp_path / "rash_planner.py").write_text("print('hello')\nraise SystemExit(3)\n")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(PlannerError, match=r"cannot be loaded: SystemExit at rash_planner.py:2: 3"):
        guarded(Source("rash", "rash_planner:plan", ""))
    assert capsys.readouterr() == ("", "hello\n")
