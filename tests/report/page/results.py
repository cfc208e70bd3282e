"""Results for pages: hand-made records that every section can show, and stand-in pictures.

The numbers are invented; the hostile texts must come out as text.
"""

from __future__ import annotations

import dataclasses
import math
from html.parser import HTMLParser
from typing import Any

import numpy as np

from simcheck.dispersing.flights import Job
from simcheck.dispersing.summary import summarise
from simcheck.files.row_file import RowFile
from simcheck.judging import judge
from simcheck.records.case import Case, Errors
from simcheck.records.dispersion import Dispersion, Rows
from simcheck.records.plan import Primer
from simcheck.records.result import Result
from simcheck.records.setback import Setback
from simcheck.records.trace import Trace, TracedBurn, TracedMember
from simcheck.report.figures.picture import Picture
from simcheck.report.page.gathering import Gathered, Way
from tests.cli import samples
from tests.dispersing.rows import some

HOSTILE = (
    '</title><script>alert(1)</script><img src="http://x.test/" onerror=alert(2)>&amp; "\'\x07'
)
_VOID = {"meta", "input", "br", "img", "hr", "link"}
_RADIUS_M = samples.RADIUS_M


def dispersion(made: Case | None = None, count: int = 300) -> tuple[Dispersion, Rows]:
    """A summary of invented rows, and the rows."""
    made = made or samples.case(errors=Errors(thrust_bias=0.01))
    job = Job(case=made, plan=samples.plan(), seed=2, planner="ring")
    rows = some(count, failing=0.1, made=made)
    rows["propellant_used_kg"] += 150
    with RowFile() as table:
        table.put(0, rows)
        return summarise(job, table, count, "all samples flown"), rows


def circle(radius: float, count: int = 61) -> np.ndarray:
    angle = np.linspace(0.0, 2.0 * math.pi, count)
    return radius * np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=-1)


def trace(**fields: Any) -> Trace:
    """Three turns from half the ring's radius out to slot 3 of four, burns on the way."""
    count = 400
    angle = np.linspace(0.0, 6.0 * math.pi - math.pi / 2, count)
    radius = _RADIUS_M * np.linspace(0.5, 1.0, count)
    height = 0.3 * _RADIUS_M * np.sin(angle) * np.linspace(1.0, 0.0, count)
    path = np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=-1)
    zero = np.zeros(count)
    usual: dict[str, Any] = {
        "craft": "R4",
        "body": "Mars",
        "body_radius_m": 3_396_190.0,
        "ring_radius_m": _RADIUS_M,
        "slot": 3,
        "axes": np.eye(3),
        "pole": np.array([0.0, math.sin(0.6), math.cos(0.6)]),
        "time_s": np.linspace(0.0, 250_000.0, count),
        "arc": np.zeros(count, dtype=int),
        "position_m": path,
        "phase_deg": zero,
        "period_s": zero,
        "eccentricity": zero,
        "plane_deg": zero,
        "burns": tuple(
            TracedBurn(
                label=f"B{k}",
                start_s=90_000.0 * k,
                end_s=90_000.0 * k + 200.0,
                position_m=path[140 * k],
                dv_m_s=np.array([0.0, 300.0 * k, -40.0]),
            )
            for k in (1, 2)
        ),
        "members": (
            TracedMember(
                name="R1", slot=0, position_m=np.array([_RADIUS_M, 0.0, 0.0]), distance_m=zero + 1e6
            ),
        ),
        "before_m": circle(0.5 * _RADIUS_M),
        "after_m": circle(_RADIUS_M),
        "slots_m": circle(_RADIUS_M, 5)[:4],
        "tolerances": {"phase_deg": 0.5},
        "separation_m": 20e3,
    }
    return Trace(**(usual | fields))


def picture(name: str, **fields: Any) -> Picture:
    usual: dict[str, Any] = {
        "title": f"A picture of {name}",
        "caption": "A line, without unit.",
        "alt": "The line rises from 0 to 1.",
        "draw": lambda axis: axis.plot([0.0, 1.0], [0.0, 1.0]),
        "size": (4.0, 2.0),
    }
    return Picture(name=name, **(usual | fields))


NAMES = ("orbit_in_plane", "timeline_phase", "trade_dv_time", "primer", "closed_loop", "odd")


def result(**fields: Any) -> Result:
    """A checked plan with everything that `check` gives."""
    case = samples.case()
    flight = samples.flight()
    primer = Primer(
        verdict="local optimum",
        why="invented",
        at_burns=np.ones(2),
        largest_between=0.99,
        largest_time_s=1e5,
        miss=1e-6,
        time_s=np.linspace(0.0, 2e5, 5),
        length=np.ones(5),
    )
    lost = Setback(burn="B1", lost=1.0, recovered=True, dv_m_s=12.0, days=1.5, how="two burns")
    usual: dict[str, Any] = {
        "kind": "check",
        "case": case,
        "plan": samples.plan(primer=primer),
        "flight": flight,
        "verdict": judge(case, flight),
        "setbacks": (lost,),
    }
    return Result(**(usual | fields))


def gathered(of: Result, **fields: Any) -> Gathered:
    """What is drawn of a result, without flying anything."""
    flight = of.flight or samples.flight()
    ways = []
    if of.plan is not None:
        way = Way(
            of.case,
            of.plan,
            samples.ring(of.case),
            flight,
            judge(of.case, flight),
            trace(),
            [picture(name) for name in NAMES],
        )
        ways.append(way)
    made = Gathered(samples.ring(of.case), ways, [], [], [])
    return made._replace(**fields)


def hostile() -> Result:
    """A result whose every text is an attack."""
    case = samples.case(title=HOSTILE)
    case = dataclasses.replace(
        case,
        craft=dataclasses.replace(case.craft, name=HOSTILE),
        body=dataclasses.replace(case.body, name=HOSTILE, sources={"gm": HOSTILE}),
        path=HOSTILE,
    )
    first = samples.burn(1, 500.0, reason=HOSTILE, purpose=HOSTILE)
    plan = samples.plan(burns=(first, samples.burn(2, 300.0)), summary=HOSTILE, warnings=(HOSTILE,))
    flight = samples.flight(events=(HOSTILE,))
    return result(case=case, plan=plan, flight=flight, verdict=judge(case, flight))


class Tags(HTMLParser):
    """Every tag of a page with its attributes, its nesting checked, and the text in each."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text: dict[str, list[str]] = {}
        self.said: list[str] = []
        self._open: list[tuple[str, int]] = []
        self.feed(page)
        self.close()
        assert not self._open, f"left open: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in _VOID:
            of_tag = self.text.setdefault(tag, [])
            of_tag.append("")
            self._open.append((tag, len(of_tag) - 1))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open, f"</{tag}> closes nothing"
        assert self._open.pop()[0] == tag, f"</{tag}> out of order"

    def handle_data(self, data: str) -> None:
        self.said.append(data)
        for tag, number in self._open:
            self.text[tag][number] += data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """The attributes of each element of that name."""
        return [attributes for name, attributes in self.found if name == tag]
