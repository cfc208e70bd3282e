"""A plan beside its alternatives and its primer, read back from the picture."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from simcheck.records.case import Limits
from simcheck.report.figures import trade
from tests.report.figures.drawn import flown, found, line, on_axis


def test_every_alternative_is_a_point() -> None:
    """In days and m/s; the chosen plan apart, the floor level."""
    plan = flown().plan
    with on_axis(lambda axis: trade.alternatives(plan, axis)) as axis:
        points = line(axis, "alternatives")
        expected = [[a.arrival_time_s / 86400, a.total_dv_m_s] for a in plan.alternatives]
        assert points == pytest.approx(np.array(expected))
        chosen = line(axis, "chosen")[0]
        assert chosen == pytest.approx([plan.arrival_time_s / 86400, plan.total_dv_m_s])
        assert line(axis, "floor")[:, 1] == pytest.approx(plan.lower_bound_dv_m_s)
        (left, right), (low, high) = axis.get_xlim(), axis.get_ylim()
        assert ((points > [left, low]) & (points < [right, high])).all()
        assert axis.get_ylabel().endswith("m/s")


@pytest.mark.parametrize(("dv", "drawn"), [(900.0, True), (5000.0, False)])
def test_limits_that_come_into_it(dv: float, drawn: bool) -> None:
    plan = flown().plan
    limits = Limits(dv_m_s=dv, duration_s=2 * 86400.0)
    with on_axis(lambda axis: trade.alternatives(plan, axis, limits)) as axis:
        assert line(axis, "limit of time")[:, 0] == pytest.approx(2.0)
        if drawn:
            assert line(axis, "limit of Δv")[:, 1] == pytest.approx(dv)
        else:
            assert not [c for c in axis.get_children() if c.get_gid() == "limit of Δv"]


def test_the_primers_history() -> None:
    """The plan's own, a dot at each burn at its length, a line at one."""
    plan = flown().plan
    with on_axis(lambda axis: trade.primer(plan, axis)) as axis:
        drawn = line(axis, "primer")
        assert plan.primer is not None
        hours = np.stack([plan.primer.time_s / 3600, plan.primer.length], axis=-1)
        assert drawn == pytest.approx(hours)
        dots = line(axis, "burns")
        assert dots[:, 0] == pytest.approx([burn.time_s / 3600 for burn in plan.burns])
        assert dots[:, 1] == pytest.approx(1.0, abs=1e-3)  # Lawden: one at every burn
        assert set(np.asarray(line(axis, "one"))[:, 1]) == {1.0}


def test_a_plan_without_a_proof_has_no_history() -> None:
    plan = dataclasses.replace(flown().plan, primer=None, alternatives=())
    assert trade.pictures(plan, None) == []
    with (
        pytest.raises(ValueError, match="no primer history"),
        on_axis(lambda axis: trade.primer(plan, axis)),
    ):
        pass


def test_a_plan_without_a_floor() -> None:
    plan = dataclasses.replace(flown().plan, lower_bound_dv_m_s=None)
    with on_axis(lambda axis: trade.alternatives(plan, axis)) as axis:
        assert not [c for c in axis.get_children() if c.get_gid() == "floor"]
        assert found(axis, "chosen")
