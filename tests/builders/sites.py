"""Paddocks that nobody probed, as the sites see them."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
import xarray as xr

from hardpan.records.frame import Frame
from hardpan.records.probing import Access
from hardpan.records.survey import Paddock, Survey
from hardpan.sites.effort import Scatter

CRS = pyproj.CRS.from_epsg(32751)
WEST_M, SOUTH_M = 500_000.0, 6_600_000.0
SCATTER = Scatter(between=45.0**2, within=25.0**2)
NO_TRACKS = gpd.GeoSeries([], crs=CRS)
OPEN = Access(gate=None, tramlines=NO_TRACKS)


def box(west, south, east, north):
    """Rectangle, metres from the south-west corner of all paddocks here."""
    return shapely.box(WEST_M + west, SOUTH_M + south, WEST_M + east, SOUTH_M + north)


def unprobed(boundary, *, soils=(("deep sand", None),), exclusions=(), cell_m=5.0, covariates=None):
    """Survey of a paddock without readings; `soils` are names and polygons, None for the whole."""
    shapes = [boundary if shape is None else shape for _, shape in soils]
    shut = {
        "name": [f"shut {k}" for k in range(len(exclusions))], "kind": "rock", "buried": False, "buffer_m": 0.0,
    }  # fmt: skip
    frame = Frame.covering(boundary.bounds, cell_m=cell_m, crs=CRS)
    grids = {} if covariates is None else {"eca": (("y", "x"), covariates(frame))}
    return Survey(
        paddock=Paddock(
            name="made",
            boundary=gpd.GeoSeries([boundary], crs=CRS),
            area_ha=boundary.area / 1e4,
            exclusions=gpd.GeoDataFrame(shut, geometry=list(exclusions), crs=CRS),
        ),
        probed=None,
        soils=gpd.GeoDataFrame(
            {"soil_type": [name for name, _ in soils], "label": "", "clay_depth_mm": np.nan}, geometry=shapes, crs=CRS
        ),
        cores=gpd.GeoDataFrame({"core": []}, geometry=[], crs=CRS),
        frame=frame,
        covariates=xr.Dataset(grids, coords={"y": frame.y_m, "x": frame.x_m}),
        crs=CRS,
        datum_moves=(),
        digests=pd.Series(dtype=object),
    )
