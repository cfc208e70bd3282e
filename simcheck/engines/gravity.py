"""The forces that move a coasting craft, as one payload: what a propagator is made for."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from simcheck.errors import InputError
from simcheck.records.case import Case
from simcheck.records.sky import Sky


class Gravity(NamedTuple):
    """What moves a coasting craft: the body's gravity and, where they act, a tide and a sky.

    Point mass and zonal terms in m3/s2, m and the coefficients that act (zero where off). tide in
    1/s2 is a constant tidal pull along the pole, with half of it inward across: tide * (-x/2, -y/2,
    z). sky moves with time: the bodies and the sunlight that act.
    """

    gm: float
    radius: float
    j2: float = 0.0
    j3: float = 0.0
    j4: float = 0.0
    tide: float = 0.0
    sky: Sky | None = None

    @property
    def zonals(self) -> tuple[float, float, float]:
        """J2, J3 and J4 that act."""
        return self.j2, self.j3, self.j4

    @property
    def point_mass(self) -> bool:
        """Whether motion is pure two-body."""
        return not (any(self.zonals) or self.tide or self.sky)

    def scaled(self, share: float) -> Gravity:
        """The same body with all but its point mass multiplied by `share`."""
        j2, j3, j4 = (share * j for j in self.zonals)
        sky = None if self.sky is None or not share else self.sky.scaled(share)
        return Gravity(self.gm, self.radius, j2, j3, j4, share * self.tide, sky)

    def averaged(self) -> Gravity:
        """The part that does not change with time: for the sky, the mean tide about the pole.

        A node that turns past all directions feels the mean tide averaged about the pole; sunlight
        pushes nowhere on average.
        """
        if self.sky is None:
            return self
        tide = sum(float(track.mean_tide_s2[2, 2]) for track in self.sky.pulling)
        return self._replace(tide=self.tide + tide, sky=None)


def gravity_of(case: Case) -> Gravity:
    """The forces that the case's `forces` switch on.

    Raises InputError where a force comes from a sky that the case does not have.
    """
    body, on = case.body, case.forces
    return Gravity(
        body.gm_m3_s2,
        body.radius_m,
        body.j2 if "j2" in on else 0.0,
        body.j3 if "j3" in on else 0.0,
        body.j4 if "j4" in on else 0.0,
        sky=_acting(case),
    )


def _acting(case: Case) -> Sky | None:
    """The sky with what acts alone, None where nothing does."""
    pulls, pushes = "third-bodies" in case.forces, "sunlight-pressure" in case.forces
    if not (pulls or pushes):
        return None
    sky = case.sky
    if sky is None or (pulls and not sky.pulling) or (pushes and sky.sunlight is None):
        raise InputError("the case has no sky for its forces; load it from a case file")
    if pulls and (pushes or sky.sunlight is None):
        return sky
    return replace(
        sky, pulling=sky.pulling if pulls else (), sunlight=sky.sunlight if pushes else None
    )
