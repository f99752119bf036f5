"""Names for the array types that cross the rooms."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
Shapes: TypeAlias = NDArray[np.object_]
"""Geometries."""


def frozen(values: np.ndarray) -> np.ndarray:
    """Read-only view of `values`, for arrays kept in records."""
    view = values.view()
    view.flags.writeable = False
    return view
