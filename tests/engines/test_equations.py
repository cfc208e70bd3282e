"""The compiled equations: the accelerations of `pulls`, and where the parameters stand."""

from __future__ import annotations

from dataclasses import replace

import heyoka as hy
import numpy as np
import pytest

from simcheck.engines.equations import (
    LIT,
    THRUST,
    TIDE,
    ZONAL,
    Terms,
    lit_beyond,
    motion_equations,
    outer_parameters,
    shadow_expression,
    sun_ahead,
    terms_of,
)
from simcheck.engines.gravity import Gravity
from simcheck.engines.pulls import in_sunlight, longest_arc, place_of, pull
from simcheck.kernels.vectors import norm
from simcheck.records.sky import Sky
from tests.engines import skies
from tests.engines.skies import DAY_S
from tests.engines.test_pulls import places, shorter

GRAVITIES = {
    "zonal": skies.about_the_moon(None),
    "tide": skies.about_the_moon(None)._replace(tide=-7e-12),
    "pulls": skies.about_the_moon(skies.sky(light=None)),
    "light": skies.about_the_moon(skies.sky(pulls=False)),
    "light of what pulls": skies.about_the_moon(skies.sky()),
    "light of what does not": skies.about_the_moon(
        replace(skies.sky(), pulling=(skies.track(skies.EARTH),))
    ),
    "everything": skies.about_the_moon(skies.sky())._replace(tide=-7e-12),
}
each = pytest.mark.parametrize("name", GRAVITIES)


def unit_time(gravity: Gravity) -> float:
    return float(np.sqrt(gravity.radius**3 / gravity.gm))


def compiled(gravity: Gravity, *, thrusting: bool = False) -> hy.cfunc:
    """The right-hand sides as a function of state, parameters and time."""
    equations = motion_equations(thrusting=thrusting, terms=terms_of(gravity))
    variables = [variable for variable, _ in equations]
    return hy.cfunc([side for _, side in equations], vars=variables)


def parameters(gravity: Gravity, time: float, span: float, place: np.ndarray) -> np.ndarray:
    """All parameters of one coast."""
    pars = np.zeros(max(terms_of(gravity).parameters, ZONAL.stop))
    pars[ZONAL] = gravity.zonals
    outer = outer_parameters(gravity, np.array([time]), np.array([span]), place[None])
    if terms_of(gravity).parameters:
        pars[TIDE:] = outer[0]
    return pars


@each
def test_accelerations_are_those_of_pulls(name: str) -> None:
    """Anywhere on an arc of up to the longest, forth and back, to 1e-10 of what pulls.

    The places of the other bodies are polynomials here, within 5e-11 of their distance.
    """
    gravity = GRAVITIES[name]
    evaluated, rng = compiled(gravity), np.random.default_rng(8)
    unit = gravity.gm / gravity.radius**2
    stride = min(longest_arc(gravity), 4 * DAY_S)
    for time, place in zip(*places(40, seed=6), strict=True):
        span = rng.uniform(-1.0, 1.0) * stride
        span = -span if not -8 * DAY_S < time + span < 390 * DAY_S else span
        pars = parameters(gravity, time, span, place)
        state = np.append(place / gravity.radius, [0.1, 0.2, 0.3])
        for share in (0.0, 0.4, 1.0):
            now = time + share * span
            if gravity.sky is not None and gravity.sky.sunlight is not None:
                sun = gravity.sky.tracks[-1]
                pars[LIT] = in_sunlight(place, place_of(sun, now), gravity.radius)
            rates = evaluated(state, pars=pars, time=share * span / unit_time(gravity))
            r = state[:3]
            found = (rates[3:] + r / norm(r) ** 3) * unit
            expected = pull(gravity, now, place)
            # Rounding of the sum with the point mass, and of what pulls less what it pulls all.
            assert norm(found - expected) < 1e-9 * norm(expected) + 1e-15 * unit
            assert np.array_equal(rates[:3], state[3:])


def test_a_burn_has_the_same_forces() -> None:
    """With the thrust at zero the equations of a burn are those of a coast, and keep the mass."""
    gravity = GRAVITIES["everything"]
    place = np.array([4e6, 3e6, 1e6])
    pars = parameters(gravity, 1e5, 1e4, place)
    state = np.append(place / gravity.radius, [0.1, 0.2, 0.3])
    coasting = compiled(gravity)(state, pars=pars, time=0.3)
    burning = compiled(gravity, thrusting=True)(np.append(state, 0.9), pars=pars, time=0.3)
    assert np.allclose(burning[:6], coasting, rtol=1e-15, atol=0.0)
    assert burning[6] == 0.0
    pars[THRUST] = [0.18, 0.01, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0]
    pushed = compiled(gravity, thrusting=True)(np.append(state, 0.9), pars=pars, time=0.3)
    assert np.allclose(pushed[3:6] - burning[3:6], [0.0, 0.2, 0.0], atol=1e-15)
    assert pushed[6] == -0.01


# ------------------------------------------------------------------- the parameter table


def test_terms_that_a_gravity_needs() -> None:
    """Only what acts is compiled in, so that plain cases keep their code."""
    assert terms_of(GRAVITIES["zonal"]) == Terms()
    assert terms_of(GRAVITIES["tide"]) == Terms(tide=True)
    assert terms_of(GRAVITIES["pulls"]) == Terms(tracks=2)
    assert terms_of(GRAVITIES["light"]) == Terms(tracks=1, sunlight=True)
    assert terms_of(GRAVITIES["light of what pulls"]) == Terms(tracks=2, sunlight=True)
    assert terms_of(GRAVITIES["light of what does not"]) == Terms(tracks=2, sunlight=True)
    assert Terms().parameters == 0
    assert Terms(tide=True).parameters == TIDE + 1


@each
def test_parameters_are_as_many_as_the_equations_have(name: str) -> None:
    """heyoka counts them by the largest that is used."""
    gravity = GRAVITIES[name]
    ta = hy.taylor_adaptive(
        motion_equations(thrusting=False, terms=terms_of(gravity)),
        [1.0] * 6,
        compact_mode=True,
        opt_level=0,
    )
    assert len(ta.pars) == max(terms_of(gravity).parameters, ZONAL.stop)


def test_an_arc_that_cannot_be_posed_is_nan() -> None:
    """In its row alone: too long, outside what is known on either side, or no time at all."""
    gravity = skies.about_the_moon(skies.sky(days=30.0))
    assert gravity.sky is not None
    start = max(track.start_s for track in gravity.sky.tracks)
    end = min(track.end_s for track in gravity.sky.tracks)
    stride = longest_arc(gravity)
    arcs = [
        (0.0, stride, True),
        (0.0, -stride, True),
        (end, -stride, True),
        (end - stride, stride, True),
        (start, stride, True),
        (start + stride, -stride, True),
        (0.0, 1.01 * stride, False),
        (0.0, -1.01 * stride, False),
        (end - 1.0, 3.0, False),
        (end + 1.0, -3.0, False),
        (start + 1.0, -3.0, False),
        (start - 1.0, 3.0, False),
        (np.nan, 3.0, False),
        (0.0, np.nan, False),
    ]
    times, spans = np.array([arc[0] for arc in arcs]), np.array([arc[1] for arc in arcs])
    found = outer_parameters(gravity, times, spans, np.full((len(arcs), 3), 1e7))
    good = [arc[2] for arc in arcs]
    assert np.isfinite(found).all(axis=1).tolist() == good
    assert np.isnan(found).all(axis=1).tolist() == [not one for one in good]


@pytest.mark.parametrize(
    ("segments", "begin", "length"), [(1, 0.0, 1.0), (3, 2.6, 0.4), (3, 3.0, -0.9)]
)
def test_a_short_sky_flies_to_its_end(segments: int, begin: float, length: float) -> None:
    """Two segments are a stride: arcs in what is left behind the last whole one are posed too."""
    track = shorter(skies.track(skies.EARTH), 5e4, segments)
    gravity = skies.about_the_moon(Sky(pulling=(track,)), zonal=False)
    place, start = np.array([4e6, 3e6, 1e6]), track.start_s + begin * track.step_s
    pars = parameters(gravity, start, length * track.step_s, place)
    evaluated, unit = compiled(gravity), gravity.gm / gravity.radius**2
    state = np.append(place / gravity.radius, [0.0, 0.0, 0.0])
    for share in (0.0, 0.5, 1.0):
        when = share * length * track.step_s
        rates = evaluated(state, pars=pars, time=when / unit_time(gravity))
        found = (rates[3:] + state[:3] / norm(state[:3]) ** 3) * unit
        expected = pull(gravity, start + when, place)
        assert norm(found - expected) < 1e-9 * norm(expected) + 1e-15 * unit


# ------------------------------------------------------------------- the shadow's edge


def test_the_shadow_function_is_negative_in_the_cylinder() -> None:
    """And `sun_ahead` tells its dark half from the one towards the Sun."""
    gravity = GRAVITIES["light"]
    assert gravity.sky is not None
    terms = terms_of(gravity)
    variables = list(hy.make_vars("x", "y", "z"))
    edge = hy.cfunc([shadow_expression(terms)], vars=variables)
    dark = 0
    for time, place in zip(*places(300, seed=9), strict=True):
        pars = parameters(gravity, time, 0.0, place)
        scaled = place / gravity.radius
        inside = edge(scaled, pars=pars, time=0.0)[0] < 0.0
        ahead = sun_ahead(pars, scaled, 0.0, terms)
        lit = in_sunlight(place, place_of(gravity.sky.tracks[-1], time), gravity.radius)
        assert (not inside or ahead) == bool(lit)
        assert pars[LIT] == lit
        dark += not lit
    assert 5 < dark < 60


@pytest.mark.parametrize(
    ("direction", "step", "lit"), [(1, 0.1, 1), (-1, 0.1, 0), (1, -0.1, 0), (-1, -0.1, 1)]
)
def test_which_side_of_the_edge_is_lit(direction: int, step: float, lit: float) -> None:
    """Going back in time, what rises falls."""
    assert lit_beyond(direction, step) == lit
