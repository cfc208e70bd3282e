"""Which propagator flies: the fast one where heyoka is installed, the reference one elsewhere."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec

from simcheck.engines.base import Propagator
from simcheck.engines.gravity import Gravity


def fast_propagator(gravity: Gravity) -> Propagator:
    """The Taylor propagator, or the reference one where heyoka has no wheel."""
    if find_spec("heyoka") is None:
        return reference_propagator(gravity)
    return _taylor(gravity)


@lru_cache(maxsize=64)
def _taylor(gravity: Gravity) -> Propagator:
    """One for each gravity, so that what is worked out for it is found again."""
    from simcheck.engines.taylor import TaylorPropagator

    return TaylorPropagator(gravity)


def reference_propagator(gravity: Gravity) -> Propagator:
    """The scipy propagator, which checks the fast one."""
    from simcheck.engines.reference import ReferencePropagator

    return ReferencePropagator(gravity)
