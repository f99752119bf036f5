"""Lines to steer by in the cab: one for each heading that zones are ripped along."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Floats
from hardpan.outputs.geodesy import bearing_deg, to_wgs84
from hardpan.spatial.runs import way_of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GuidanceLine:
    """A straight line that runs lie parallel to."""

    zones: tuple[int, ...]
    """Zones that are ripped along it."""
    bearing_deg: float
    """From true north, 0 to 180."""
    ends: Floats
    """(2, 2): longitude and latitude of its two ends, WGS 84."""
    width_m: float
    """Between runs: the working width."""


def guidance_lines(plan: gpd.GeoDataFrame, headings: pd.DataFrame, *, width_m: float) -> tuple[GuidanceLine, ...]:
    """One line a heading, through the middle of the ground that is ripped along it and as long as that ground.

    Parameters
    ----------
    plan : GeoDataFrame
        `Plan.zones`, working CRS.
    headings : DataFrame
        `zone` and `heading_deg` from grid north, as in `Zones.table`.
    width_m : float
        Working width.
    """
    ripped = plan[plan["depth_mm"] > 0].merge(headings[["zone", "heading_deg"]], on="zone").sort_values("zone")
    lines = []
    for heading, rows in ripped.groupby("heading_deg"):
        line, middle = _through(rows.geometry.to_numpy(), float(heading))
        (moved,), _ = to_wgs84(np.array([line]), plan.crs)
        lines.append(
            GuidanceLine(
                zones=tuple(int(zone) for zone in rows["zone"]),
                bearing_deg=bearing_deg(float(heading), middle, plan.crs),
                ends=shapely.get_coordinates(moved),
                width_m=width_m,
            )
        )
    return tuple(lines)


def _through(shapes: np.ndarray, heading_deg: float) -> tuple[shapely.LineString, shapely.Point]:
    """Line at a heading through the middle of shapes, from their first to their last point along it; the middle."""
    middle = shapely.centroid(shapely.convex_hull(shapely.geometrycollections(shapes)))
    centre = np.array([middle.x, middle.y])
    way = way_of(heading_deg)
    along = (shapely.get_coordinates(shapes) - centre) @ way
    return shapely.LineString(centre + np.outer([along.min(), along.max()], way)), middle
