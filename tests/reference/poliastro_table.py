"""Makes poliastro_0_17_0.json, a table of poliastro 0.17.0's answers. Run by hand, not by tests.

poliastro 0.17.0 needs Python 3.10 or older and is archived, so its answers are kept and not
recomputed. To make the table again:

    python3.10 -m venv old
    old/bin/pip install poliastro==0.17.0
    old/bin/python tests/reference/poliastro_table.py

No further pins were needed: pip settled on the versions written into the table's header.
Only its low-level functions are used; they take any units, here m, s and rad.
"""

import json
import platform
from pathlib import Path

import numba
import numpy as np
import poliastro
from poliastro.core.elements import coe2rv
from poliastro.core.iod import izzo
from poliastro.core.maneuver import bielliptic, hohmann
from poliastro.core.perturbations import J2_perturbation, J3_perturbation
from poliastro.core.propagation import farnocchia

OUTPUT = Path(__file__).with_name("poliastro_0_17_0.json")

BODIES = {
    "Earth": {"gm": 3.986004418e14, "radius": 6378136.6, "j2": 1.08263e-3, "j3": -2.5326613e-6},
    "Mars": {"gm": 4.282837e13, "radius": 3396190.0, "j2": 1.9555e-3, "j3": 3.14e-5},
    "Moon": {"gm": 4.9028e12, "radius": 1737400.0, "j2": 2.027e-4, "j3": 8.476e-6},
}

# Periapsis in body radii, e, and i, raan, argp, nu in deg.
SHAPES = [
    (1.06, 0.001, 51.6, 10.0, 80.0, 0.0),
    (1.11, 0.05, 98.6, 200.0, 300.0, 45.0),
    (1.05, 0.60, 28.0, 40.0, 75.0, 200.0),
    (1.08, 0.74, 63.4349, 250.0, 270.0, 120.0),
    (1.50, 0.30, 150.0, 5.0, 185.0, 359.0),
    (6.61, 0.0005, 0.5, 90.0, 10.0, 270.0),
    (1.20, 0.92, 120.0, 330.0, 20.0, 178.0),
    (1.10, 1.20, 35.0, 120.0, 60.0, -60.0),
    (2.00, 3.00, 75.0, 15.0, 240.0, 20.0),
]
DURATIONS = (-0.37, 0.25, 1.6, 12.3)  # in periods; see span() for open orbits

# Radius of the start, of the far point and of the end, in body radii.
TRANSFERS = [(1.03, 30.0, 6.61), (1.03, 60.0, 16.0), (6.61, 40.0, 1.2), (1.1, 3.0, 1.6)]

# Start and end in body radii, time in periods of a circle at the surface, revolutions.
ARCS = [
    ((1.10, 0.20, 0.10), (-0.30, 1.60, 0.40), 0.35, 0),
    ((2.50, 0.00, 0.00), (1.91, 1.61, 0.00), 0.90, 0),
    ((1.20, -0.90, 0.60), (-2.10, 0.30, -1.40), 0.25, 0),
    ((1.30, 0.10, 0.00), (-0.20, 1.50, 0.30), 5.00, 1),
    ((1.30, 0.10, 0.00), (-0.20, 1.50, 0.30), 9.00, 2),
]

# Directions and distances (in body radii) for the zonal accelerations.
POINTS = [
    (1.05, 0.0, 0.0),
    (0.0, 0.0, 1.10),
    (0.0, 0.0, -1.10),
    (0.7, 0.6, 0.8),
    (-0.9, 1.2, -2.1),
    (3.0, -5.0, 1.0),
]


def main():
    """Write the table."""
    table = {
        "header": {
            "made_by": "tests/reference/poliastro_table.py",
            "poliastro": poliastro.__version__,
            "python": platform.python_version(),
            "numpy": np.__version__,
            "numba": numba.__version__,
            "units": "m, m/s, m/s2, s, rad; gm in m3/s2",
        },
        "bodies": BODIES,
        "orbits": [orbit(name, shape) for name in BODIES for shape in SHAPES],
        "hohmann": [two_impulses(name, *radii) for name in BODIES for radii in TRANSFERS],
        "bielliptic": [three_impulses(name, *radii) for name in BODIES for radii in TRANSFERS],
        "lambert": [
            lambert(name, case, low_path)
            for name in BODIES
            for case in ARCS
            for low_path in ((True, False) if case[3] else (True,))
        ],
        "zonal": [zonal(name, point) for name in BODIES for point in POINTS],
    }
    OUTPUT.write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8")


def orbit(name, shape):
    """Elements, their state, and the state after several times."""
    body = BODIES[name]
    periapsis, e, *degrees = shape
    p = periapsis * body["radius"] * (1 + e)
    angles = np.radians(degrees)
    position, velocity = coe2rv(body["gm"], p, e, *angles)
    later = []
    for share in DURATIONS:
        duration = float(share * span(body["gm"], p, e))
        state = farnocchia(body["gm"], position, velocity, duration)
        later.append({"duration": duration, **numbers(position=state[0], velocity=state[1])})
    elements = dict(zip(("i", "raan", "argp", "nu"), angles.tolist(), strict=True))
    return {
        "body": name,
        "elements": {"p": p, "e": e, **elements},
        **numbers(position=position, velocity=velocity),
        "later": later,
    }


def span(gm, p, e):
    """Period of an ellipse; of a hyperbola a fifth of the same figure with |a|."""
    a = p / abs(1 - e**2)
    return 2 * np.pi * np.sqrt(a**3 / gm) * (1.0 if e < 1 else 0.2)


def circle(name, radius):
    """State on a circle in the equator's plane; the radius in body radii."""
    r = radius * BODIES[name]["radius"]
    return np.array([r, 0.0, 0.0]), np.array([0.0, np.sqrt(BODIES[name]["gm"] / r), 0.0])


def two_impulses(name, start, _, end):
    """Hohmann transfer from circle to circle."""
    radius = BODIES[name]["radius"]
    *impulses, duration = hohmann(BODIES[name]["gm"], circle(name, start), end * radius)
    radii = [start * radius, end * radius]
    return {"body": name, "radii": radii, **cost(impulses, duration)}


def three_impulses(name, start, far, end):
    """Bi-elliptic transfer from circle to circle."""
    radius = BODIES[name]["radius"]
    *impulses, out, back = bielliptic(
        BODIES[name]["gm"], far * radius, end * radius, circle(name, start)
    )
    radii = [start * radius, far * radius, end * radius]
    return {"body": name, "radii": radii, **cost(impulses, out + back)}


def cost(impulses, duration):
    """Magnitudes of the impulses, and the time from first to last."""
    return {"dv": [float(np.linalg.norm(x)) for x in impulses], "duration": float(duration)}


def lambert(name, case, low_path):
    """Lambert's problem, prograde."""
    body = BODIES[name]
    start, end, share, revolutions = case
    ends = [np.array(x) * body["radius"] for x in (start, end)]
    duration = float(share * span(body["gm"], body["radius"], 0.0))
    velocities = izzo(body["gm"], *ends, duration, revolutions, True, low_path, 35, 1e-12)
    return {
        "body": name,
        "duration": duration,
        "revolutions": revolutions,
        "low_path": low_path,
        **numbers(start=ends[0], end=ends[1]),
        **numbers(start_velocity=velocities[0], end_velocity=velocities[1]),
    }


def zonal(name, point):
    """Accelerations by J2 alone and by J3 alone."""
    body = BODIES[name]
    position = np.array(point) * body["radius"]
    state = np.concatenate([position, np.zeros(3)])
    by_j2 = J2_perturbation(0.0, state, body["gm"], body["j2"], body["radius"])
    by_j3 = J3_perturbation(0.0, state, body["gm"], body["j3"], body["radius"])
    return {"body": name, **numbers(position=position, j2=by_j2, j3=by_j3)}


def numbers(**vectors):
    """Arrays as lists, which JSON takes."""
    return {name: [float(x) for x in vector] for name, vector in vectors.items()}


if __name__ == "__main__":
    main()
