"""Ground of each soil type by the lines of the soil map, not by cells."""

from collections.abc import Iterator
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.frame import Frame
from hardpan.spatial.cells import centres_inside
from hardpan.spatial.regions import OUTSIDE, spread


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """Ground with borders of its own, and the class of each cell as seen from it."""

    shape: shapely.Geometry
    classes: Ints
    """(n_rows, n_cols): those of its own cells, carried on beyond its borders."""

    def holds(self, xy_m: Floats) -> Bools:
        """Which places (n, 2) lie in it, (n,)."""
        shapely.prepare(self.shape)
        return np.asarray(shapely.contains_xy(self.shape, xy_m[:, 0], xy_m[:, 1]))


def soil_regions(
    soils: gpd.GeoDataFrame, soil_types: tuple[str, ...], soil: Ints, classes: Ints, frame: Frame
) -> list[Region]:
    """Region of each soil type that has a cell; of soil polygons that overlap the first by name counts, as for cells.

    Parts of the soil map too small to hold the middle of a cell are left out, and so is ground without a polygon.

    Parameters
    ----------
    soil, classes : (n_rows, n_cols)
        Soil code and class of each cell with ground, -1 elsewhere.
    """
    regions, taken = [], shapely.Polygon()
    for name, shapes in soils.groupby("soil_type", sort=True).geometry:
        whole = shapely.difference(shapely.union_all(shapes.to_numpy()), taken)
        taken = shapely.union(taken, whole)
        code = soil_types.index(str(name))
        own = soil == code
        kept = [part for part in _areas(whole) if (own & centres_inside(part, frame)).any()]
        if kept:
            regions.append(Region(shape=shapely.union_all(kept), classes=spread(np.where(own, classes, OUTSIDE))))
    return regions


def _areas(shape: shapely.Geometry) -> Iterator[shapely.Geometry]:
    yield from (part for part in shapely.get_parts(shape) if shapely.get_dimensions(part) == 2)
