"""The one array type, and the check that every record puts its arrays through."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array: TypeAlias = NDArray[np.float64]


def frozen_array(value: ArrayLike, shape: tuple[int | None, ...], name: str) -> Array:
    """Return a read-only float64 copy of `value`.

    shape gives the expected shape, None where a length is free. Raises ValueError naming `name`
    when the shape differs or a number is not finite.
    """
    array = np.array(value, dtype=np.float64)
    fits = array.ndim == len(shape) and all(
        want is None or want == got for want, got in zip(shape, array.shape, strict=True)
    )
    if not fits:
        raise ValueError(f"{name}: expected an array of shape {shape}, got {array.shape}")
    if not np.isfinite(array).all():
        raise ValueError(f"{name}: expected finite numbers, got {array.tolist()}")
    array.flags.writeable = False
    return array
