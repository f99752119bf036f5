"""Zones that a machine can follow."""

from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd

from hardpan.core.arrays import Ints
from hardpan.records.advice import CountReason
from hardpan.records.frame import Frame
from hardpan.records.issues import Issues

ZONE = ("zone", "kind", "soil_type", "area_ha", "geometry")
"""First columns of `Zones.table`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zones:
    """The paddock divided without gaps or overlaps."""

    frame: Frame
    labels: Ints
    """(n_rows, n_cols): zone number of each cell, 0 outside the boundary. Exclusions have numbers too."""
    classes: Ints
    """(n_rows, n_cols): class of like cells of one soil type that each cell was put in before the classes were joined
    by money, -1 where it was put in none. A zone that is drawn anew parts along them."""
    table: gpd.GeoDataFrame
    """One row a zone, rising `zone`: `zone` int >= 1, `kind` ("ground", "exclusion" or, once laid, "strip"),
    `soil_type` (of the largest part; the exclusion's name for exclusions), `area_ha` (geodesic), `geometry` (Polygon or
    MultiPolygon, working CRS, a valid coverage whose union is the boundary), `length_m` (mean way between two
    turns: runs along `heading_deg`, and laps of the headland), `heading_deg`, `headland_ha` (of the area: beside the
    paddock's boundary, worked in laps along it)."""
    indices: pd.DataFrame
    """One row a count tried: `count`, `silhouette`, `variance_reduction`, `net_gain` (money against one zone),
    `chosen` bool."""
    lift_m: float
    """Ground driven until the tines are out, from the deepest and quickest option there is: kept clear beside all that
    is buried."""
    change_m: float
    """Ground driven while the tines move between the shallowest and the deepest depth that is best somewhere."""
    headland_m: float = 0.0
    """Width of the headland along the paddock's boundary."""
    heading_deg: float | None = None
    """Way of travel that was asked for; None: each zone has its own."""
    count: CountReason
    """Why so many."""
    issues: Issues = field(default=())
