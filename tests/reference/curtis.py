"""H. Curtis, Orbital Mechanics for Engineering Students, worked examples. km, km/s, deg."""

SOURCE = "Curtis, Orbital Mechanics for Engineering Students"
FROM_MEMORY = SOURCE + " (from memory)"

GM = 398600.0
RADIUS = 6378.0
J2 = 1.08263e-3

# Example 4.7: elements to a state. The input was seen in print, the state is from memory.
EX_4_7 = {
    "h": 80000.0,
    "e": 1.4,
    "raan": 40.0,
    "i": 30.0,
    "argp": 60.0,
    "nu": 30.0,
    "position": (-4040.0, 4815.0, 3629.0),
    "velocity": (-10.39, -4.772, 1.744),
}

# Examples 10.2 and 10.6 (12.2 in older editions), seen in poliastro's test of J2 propagation.
DRIFT = {
    "perigee_altitude": 300.0,
    "apogee_altitude": 3062.0,
    "i": 28.0,
    "raan_deg_h": -0.172,
    "argp_deg_h": 0.282,
}

# Sun-synchronous orbit of 100 minutes, from memory.
SUN_SYNCHRONOUS = {"minutes": 100.0, "rate": 1.991e-7, "altitude": 758.63, "i": 98.43}
