"""Values in the test-suite of poliastro 0.17, its data taken from Vallado and Curtis. km, deg."""

SOURCE = "poliastro 0.17 test-suite"

GM = 398600.4418
RADIUS = 6378.1366

# test_angles: eccentricity, mean anomaly, true anomaly.
KEPLER_TABLE = (
    (0.05, 10.0, 11.06),
    (0.06, 30.0, 33.67),
    (0.04, 120.0, 123.87),
    (0.14, 65.0, 80.50),
    (0.19, 21.0, 30.94),
    (0.35, 65.0, 105.71),
    (0.75, 125.0, 167.57),
)

# test_orbit: the two critical inclinations.
CRITICAL_INCLINATIONS = (63.4349, 116.5651)

# Sun-synchronous inclination of Vallado's example 11-2a, relative tolerance 1e-4 there.
SUN_SYNCHRONOUS_I = 98.6

# test_maneuver::test_hohmann_maneuver (Vallado, example 6-1). The altitudes differ in the last
# digit from the book's companion code, and so does the cost.
HOHMANN = {"altitude_1": 191.34411, "altitude_2": 35781.34857, "dv": 3.935224, "hours": 5.256713}
