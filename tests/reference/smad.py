"""W. Larson and J. Wertz, Space Mission Analysis and Design, 3rd ed., near eq. 6-19 (from memory).

Rates in deg/day of an Earth orbit with a in km: coefficient * a^-3.5 (1 - e^2)^-2 * f(i).
"""

SOURCE = "Larson and Wertz, SMAD 3rd ed. (from memory)"

RAAN = -2.06474e14  # times cos i
ARGP = 1.03237e14  # times 4 - 5 sin^2 i

# The constants that reproduce them.
GM = 398600.4418
RADIUS = 6378.137
J2 = 1.08263e-3
