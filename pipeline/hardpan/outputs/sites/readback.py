"""The files of the sites read again, by other libraries than wrote them, and held against the plan."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
from defusedxml import ElementTree

from hardpan.core.arrays import Floats
from hardpan.core.errors import ReadBackError
from hardpan.outputs.geodesy import DECIMALS

_GPX = "{http://www.topografix.com/GPX/1/1}"

_ROUNDING = 1.1 * 10.0**-DECIMALS
"""Degrees that rounding of the written places may take."""


def read_sites_back(folder: Path, planned: gpd.GeoDataFrame) -> None:
    """Check sites.geojson (read by GDAL) and sites.gpx (read by defusedxml) against the plan.

    Raises
    ------
    ReadBackError
        A file does not hold the planned sites in their order and places.
    """
    places = pyogrio.read_dataframe(folder / "sites.geojson")
    _hold("sites.geojson", list(places["site"]), places.geometry.get_coordinates().to_numpy(), planned)
    points = ElementTree.parse(folder / "sites.gpx").getroot().findall(f"{_GPX}wpt")
    degrees = np.array([[float(point.get(axis)) for axis in ("lon", "lat")] for point in points])
    _hold("sites.gpx", [point.findtext(f"{_GPX}name") for point in points], degrees, planned)


def _hold(file: str, names: list[str], degrees: Floats, planned: gpd.GeoDataFrame) -> None:
    asked = planned[["longitude", "latitude"]].to_numpy(float)
    if names != list(planned["site"]) or np.abs(degrees - asked).max() > _ROUNDING:
        raise ReadBackError(
            found=f"it holds {len(names)} sites of other names or places",
            where=file,
            planned=f"the {len(planned)} sites as planned",
            why="a fault of the writer does that",
        )
