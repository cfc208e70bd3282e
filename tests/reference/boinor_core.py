"""boinor's low-level functions, the one place where tests import them.

conftest.py switches numba's compiler off, so they run as the plain Python they are written in.
Units are free in them; ours are m, s and rad.
"""

import warnings

# boinor and what it imports warn of deprecations in one another, which is not our concern.
with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from boinor.core.elements import coe2rv, rv2coe
    from boinor.core.iod import izzo
    from boinor.core.maneuver import bielliptic, hohmann
    from boinor.core.perturbations import radiation_pressure, third_body
    from boinor.core.propagation import farnocchia, vallado

SOURCE = "boinor"

__all__ = [
    "SOURCE",
    "bielliptic",
    "coe2rv",
    "farnocchia",
    "hohmann",
    "izzo",
    "radiation_pressure",
    "rv2coe",
    "third_body",
    "vallado",
]
