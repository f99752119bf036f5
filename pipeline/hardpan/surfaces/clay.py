"""Depth to the clay subsoil: from the soil map, moved by the lab cores."""

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.records.survey import Survey
from hardpan.surfaces.layout import Layout


def map_clay(survey: Survey, layout: Layout) -> Floats:
    """Give the depth to clay (mm) of every cell, NaN where none is in reach or none is known.

    A soil type's depth is the mean of its cores where there are any, else that of the soil map.
    """
    depth = np.full(len(layout.soil_types), np.nan)
    for code, name in enumerate(layout.soil_types):
        known = [mean for mean in (_mean(survey.cores, name), _mean(survey.soils, name)) if np.isfinite(mean)]
        depth[code] = known[0] if known else np.nan
    return depth[layout.cells.soil]


def _mean(table: gpd.GeoDataFrame, soil_type: str) -> float:
    if "clay_depth_mm" not in table or table.empty:
        return float("nan")
    of = table.loc[table["soil_type"].astype(str) == soil_type, "clay_depth_mm"]
    return float(np.sort(pd.to_numeric(of).dropna().to_numpy(float)).mean()) if of.notna().any() else float("nan")
