"""Reasons: each sentence's numbers follow from the states of its burn."""

from __future__ import annotations

import re

import numpy as np
import pytest

from simcheck.kernels.elements import eccentricity_vector
from simcheck.kernels.transfers import apsis_radii, coast_to_direction, period_of
from simcheck.kernels.vectors import angle_between, cross, norm
from simcheck.planning.candidates import Candidate, Impulse
from simcheck.planning.phasing import build, offers
from simcheck.planning.problem import Problem
from simcheck.planning.reasons import pieces, purpose, reason
from simcheck.planning.searching import all_routes
from tests.cases_for_tests import ENGINE
from tests.planning.problems import problem


def candidates(posed: Problem) -> list[Candidate]:
    """Cheap, early and handbook ones, so that every kind of burn comes up."""
    found = []
    for route in all_routes(posed):
        best = sorted(offers(posed, route), key=lambda offer: offer.dv)[:3]
        found += [c for offer in best if (c := build(posed, offer)) is not None]
    assert found
    return found


POSED = problem(engine=ENGINE)
BURNS = [
    (candidate, index)
    for candidate in candidates(POSED)
    for index in range(len(candidate.impulses))
]


def text_of(candidate: Candidate, index: int) -> tuple[str, Impulse]:
    piece = pieces(candidate)[index]
    return reason(POSED, candidate, index, piece=piece), candidate.impulses[index]


def test_radius_and_speed_are_those_before_the_burn() -> None:
    """Where, how far out, how fast."""
    for candidate, index in BURNS:
        text, impulse = text_of(candidate, index)
        assert f"radius {norm(impulse.position) / 1e3:,.0f} km" in text
        assert f"speed {norm(impulse.before) / 1e3:.3f} km/s" in text


def test_periods_are_those_before_and_after() -> None:
    """The period that the burn leaves and the one that it makes."""
    for candidate, index in BURNS:
        text, impulse = text_of(candidate, index)
        old, new = (
            float(period_of(impulse.position, v, POSED.gm)) / 3600
            for v in (impulse.before, impulse.after)
        )
        assert f"period {old:.3f} h to {new:.3f} h" in text


def test_turns_are_the_angles_between_the_planes() -> None:
    """A plane turned by more than a hundredth of a degree is said, and by how much."""
    said = 0
    for candidate, index in BURNS:
        text, impulse = text_of(candidate, index)
        planes = [cross(impulse.position, v) for v in (impulse.before, impulse.after)]
        turn = float(np.degrees(angle_between(*planes)))
        if turn > 0.011:
            said += 1
            tilts = [float(np.degrees(angle_between(plane, POSED.normal))) for plane in planes]
            assert f"turns the plane by {turn:.2f}°" in text
            assert f"{tilts[0]:.2f}° to {tilts[1]:.2f}°" in text
        elif turn < 0.009:
            assert "turns the plane" not in text
    assert said > 3


def test_apsides_are_those_of_the_orbits() -> None:
    """An apsis that moves is named with its radii, the right way round."""
    said = 0
    for candidate, index in BURNS:
        text, impulse = text_of(candidate, index)
        old, new = (
            apsis_radii(impulse.position, v, POSED.gm) for v in (impulse.before, impulse.after)
        )
        for name, one, other in zip(("periapsis", "apoapsis"), old, new, strict=True):
            if abs(float(other / one) - 1) < 2e-3:
                continue
            verb = "raises" if other > one else "lowers"
            said += 1
            assert f"{verb} the {name} radius {one / 1e3:,.0f} to {other / 1e3:,.0f} km" in text
    assert said > 3


def test_a_place_called_a_node_or_an_apsis_is_one() -> None:
    """At "the ascending node" the craft crosses the ring's plane upwards, and so on."""
    said = set()
    for candidate, index in BURNS:
        text, impulse = text_of(candidate, index)
        place = text.split("(radius")[0]
        out = float(impulse.position @ POSED.normal) / float(norm(impulse.position))
        climb = float(impulse.before @ impulse.position)
        climb /= float(norm(impulse.before) * norm(impulse.position))
        if re.search(r"at the (a|de)scending node", place, re.IGNORECASE):
            said.add("node")
            assert abs(out) < np.sin(np.radians(3.1))
            tilt = angle_between(cross(impulse.position, impulse.before), POSED.normal)
            if tilt > np.radians(0.5):
                assert ("ascending" in place.split()) == (impulse.before @ POSED.normal > 0)
        if re.search(r"at the (peri|apo)apsis", place, re.IGNORECASE):
            said.add("apsis")
            # Within 3 deg of an apsis; the slope of the path is at most e sin(3 deg) / (1 - e cos).
            e = float(norm(eccentricity_vector(impulse.position, impulse.before, POSED.gm)))
            assert abs(climb) < e * np.sin(np.radians(3.1)) / (1 - e) + 1e-9
    assert "node" in said


def test_the_other_node_is_costed_from_its_own_speed() -> None:
    """What the turn would cost at the other node, 2 v sin(a/2) with the speed across the radius."""
    said = 0
    for candidate, index in BURNS:
        text, impulse = text_of(candidate, index)
        match = re.search(r"at ([\d.]+) km/s here and at ([\d.]+) km/s .*? cost ([\d.]+) m/s", text)
        if match is None:
            continue
        said += 1
        planes = [cross(impulse.position, v) for v in (impulse.before, impulse.after)]
        turn = float(angle_between(*planes))
        _, position, velocity = coast_to_direction(
            impulse.position, impulse.before, -impulse.position, POSED.gm
        )
        speeds = [
            float(norm(cross(r, v)) / norm(r))
            for r, v in ((impulse.position, impulse.before), (position, velocity))
        ]
        assert match[1] == f"{speeds[0] / 1e3:.3f}"
        assert match[2] == f"{speeds[1] / 1e3:.3f}"
        cost = [2 * speed * np.sin(turn / 2) for speed in speeds]
        assert match[3] == f"{abs(cost[1] - cost[0]):.1f}"
        assert ("more" in text.split("alone would cost")[1]) or cost[1] < cost[0]
    assert said > 0


def test_phasing_says_how_many_revolutions_and_what_one_fewer_would_cost() -> None:
    """k, the period, and the price of k - 1."""
    said = 0
    for candidate, index in BURNS:
        text, _ = text_of(candidate, index)
        phasing = candidate.phasing
        if phasing is None or phasing.after != index:
            assert "let the slot come round" not in text
            continue
        said += 1
        assert f"{phasing.revolutions} revolution" in text
        assert f"{phasing.period_s / 3600:.4f} h" in text
        more = phasing.one_fewer_dv - candidate.dv
        if phasing.revolutions > 1 and more > 0.1:
            assert f"one fewer would cost {more:.1f} m/s more" in text
    assert said > 3


@pytest.mark.parametrize("max_burn", [1800.0, 120.0])
def test_pieces_of_a_burn_are_counted(max_burn: float) -> None:
    """Parts at one point are numbered 1 to n, and nothing else is a part."""
    posed = problem(engine=type(ENGINE)(**{**vars(ENGINE), "max_burn_s": max_burn}), days=40.0)
    for candidate in candidates(posed)[:6]:
        names = pieces(candidate)
        assert len(names) == len(candidate.impulses)
        for index, name in enumerate(names):
            match = re.fullmatch(r"part (\d+) of (\d+)", name)
            if not match:
                assert name == ""
                continue
            part, count = int(match[1]), int(match[2])
            first = candidate.impulses[index - part + 1]
            assert 1 <= part <= count
            assert np.allclose(first.position, candidate.impulses[index].position)
            assert names[index - part + count] == f"part {count} of {count}"


def test_purposes_are_few_and_the_last_is_the_insertion() -> None:
    """A fixed vocabulary, so that programs may rely on it."""
    words = set()
    for candidate, index in BURNS:
        last = index == len(candidate.impulses) - 1
        word = purpose(POSED, candidate.impulses[index], last=last)
        words.add(word)
        assert last == word.startswith("insertion")
    assert words <= {
        "insertion and plane change",
        "insertion",
        "apsis and plane change",
        "plane change",
        "apsis change",
        "trim",
    }
