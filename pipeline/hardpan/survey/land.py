"""Where the paddock is, and coordinates on the way to it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.records.issues import Issue

Points: TypeAlias = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""Moves coordinates x, y to another CRS."""

Bounds: TypeAlias = tuple[float, float, float, float]
"""West, south, east, north."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Axes:
    """Coordinates as read, shape (n_insertions,), NaN where there is none."""

    x: Floats
    y: Floats
    written_as_degrees: bool
    """The cells carry degree signs or letters of the compass, or the columns are called longitude and latitude."""
    issues: tuple[Issue, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Land:
    """Where the paddock is: its boundary in the working CRS, and bounds in degrees."""

    boundary: shapely.Geometry
    crs: pyproj.CRS
    bounds: Bounds
