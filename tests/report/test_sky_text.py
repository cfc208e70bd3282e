"""The rows about the sky among the constants: bodies, sunlight, axes; none without one."""

from __future__ import annotations

import dataclasses

from simcheck.bodies import built_in
from simcheck.files.ephemeris import built_in_perturbers, oriented, own_sky, sky_of
from simcheck.files.epochs import read_date
from simcheck.records.case import Case
from simcheck.records.sky import Sunlight, ThirdBody
from simcheck.report.flight_text import constants
from simcheck.report.tables import stacked
from tests.cli import samples
from tests.report.test_text import text_of

EPOCH = read_date("2031-04-12T06:00:00")
PUSH = Sunlight(area_to_mass_m2_kg=0.02, reflectivity=1.3)


def lines(case: Case) -> str:
    """The block of constants as one line of text, and that it fits the screen."""
    text = text_of(stacked(*constants(case, samples.ring(samples.case()))))
    assert all(len(line) <= 100 for line in text.splitlines())
    return " ".join(text.split())


def test_what_a_built_in_body_sees() -> None:
    """Each body's GM with its source and theory, the push with its own, the axes in words."""
    body = oriented(built_in("Moon"), EPOCH)
    sky = sky_of(built_in_perturbers(body, EPOCH), 86400.0, pulling=True, sunlight=PUSH)
    text = lines(dataclasses.replace(samples.case(), body=body, sky=sky))
    for words in (
        "Earth's GM 3.986004355070e+14 m3/s2 DE440 (Park et al. 2021); motion: moon98 (erfa)",
        "Sun's GM 1.327124400413e+20 m3/s2 DE440",
        "area to mass 0.02 m2/kg case file",
        "reflectivity 1.3 case file",
        "sunlight 4.5398e-06 N/m2 at 1 au 1361 W/m2 (Kopp and Lean 2011)",
        "axes z: the body's north pole at the epoch",
    ):
        assert words in text


def test_a_light_of_the_cases_own() -> None:
    """It gives light without a pull; the pressure is the file's."""
    star = ThirdBody(
        name="Helios",
        gm_m3_s2=1e20,
        semi_major_axis_m=2e11,
        eccentricity=0.0,
        inclination_rad=0.0,
        raan_rad=0.0,
        argp_rad=0.0,
        true_anomaly_rad=0.0,
        period_s=5e7,
        irradiance_w_m2=600.0,
    )
    push = dataclasses.replace(PUSH, pressure_n_m2=2e-6, distance_m=2e11)
    sky = own_sky([star], 86400.0, pulling=False, sunlight=push)
    text = lines(dataclasses.replace(samples.case(), sky=sky))
    assert "Helios gives light case file, Kepler orbit" in text
    assert "sunlight 2e-06 N/m2 at 1.33692 au case file" in text
    assert "axes the case's own, z: the pole" in text


def test_a_case_without_a_sky_says_nothing_of_it() -> None:
    text = lines(samples.case())
    assert "axes" not in text
    assert "sunlight" not in text
