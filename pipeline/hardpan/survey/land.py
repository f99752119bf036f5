"""Where the paddock is, and coordinates on the way to it."""

from dataclasses import dataclass

import pyproj
import shapely

from hardpan.core.arrays import Floats
from hardpan.records.issues import Issue
from hardpan.spatial.datum import Bounds


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
