"""D. Vallado, Fundamentals of Astrodynamics and Applications, 5th ed. 2022.

Values as the book's companion code has them (examples numbered as in the book). km, km/s, deg.
"""

SOURCE = "Vallado (2022), companion code"

GM = 398600.4415
RADIUS = 6378.1363
J2_CHAPTER_11 = 0.00108263
SIDEREAL_DAY_S = 86164.090524

# Example 1-1: semi-major axis of a geosynchronous orbit.
EX_1_1_A = 42164.1696

# Example 2-4: a state and the same 40 minutes later.
EX_2_4 = {
    "position": (1131.340, -2282.343, 6672.423),
    "velocity": (-5.64305, 4.30333, 2.42879),
    "minutes": 40.0,
    "position_after": (-4219.75275371, 4363.0291884, -3958.76660513),
    "velocity_after": (3.68986601, -1.91673476, -6.11251111),
}

# Example 2-5: a state and its elements. Older prints have p 11067.790 and a 36127.343, which do
# not follow from the input with either GM. A copy of the example elsewhere has x = 6524.384, a
# typing error.
EX_2_5 = {
    "position": (6524.834, 6862.875, 6448.296),
    "velocity": (4.901327, 5.533756, -1.976341),
    "p": 11067.798350991814,
    "a": 36127.337763974785,
    "e": 0.8328533990836885,
    "i": 87.869126,
    "raan": 227.898260,
    "argp": 53.384931,
    "nu": 92.335157,
    "mean_anomaly": 7.60,
    "latitude": 145.72,
}

# Example 11-2a: sun-synchronous circular orbit. The code divides the year's turn by the sidereal
# day's seconds although the year is counted in solar days; its 98.627 deg carries that mistake.
EX_11_2_A = 7178.1363
EX_11_2_MISTAKEN_RATE = 360.0 / 365.2421897 / 86164.099  # deg/s
EX_11_2_MISTAKEN_I = 98.62682

# Example 6-1, altitudes as the code has them.
EX_6_1 = {
    "altitude_1": 191.3411,
    "altitude_2": 35781.34857,
    "dv": (2.457038635627854, 1.478187015430896),
    "minutes": 315.4027569935991,
}
