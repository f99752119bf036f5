"""Results of earlier runs, read back from their folders."""

import io
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import rasterio

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.after import RECORD
from hardpan.records.comparison import PastRun
from hardpan.records.trail import MANIFEST
from hardpan.survey import files, vectors
from hardpan.survey.inputs.across import totals_of
from hardpan.survey.inputs.folders import read_record

_NEEDED = ("prescription.geojson", "tallies.csv")
_HELD = frozenset({"settings", "inputs_sha256", "working_crs"})
"""Parts of run.json that are compared."""

_RASTER, _LAYERS, _RESIDUALS = "surfaces.tif", "prescription.gpkg", "residuals.csv"
"""Files that a run need not have written."""

_RESIDUAL = ("variable", "site", "insertion", "x_m", "y_m", "residual", "sd")
"""Columns of `PastRun.residuals`."""


def read_result(folder: Path) -> PastRun:
    """Result in a folder of `hardpan run`.

    Raises
    ------
    InputError
        The folder holds no result, or a file of it is missing or damaged.
    """
    document = read_record(folder, MANIFEST, holding=_HELD)
    missing = [name for name in _NEEDED if not (folder / name).is_file()]
    if missing:
        raise InputError(
            what=f"holds no {missing[0]}", where=str(folder), right="the result of `hardpan run` with its GeoJSON"
        )
    layer = vectors.read_layer(files.load(folder / "prescription.geojson", what="the zones"), None, key="RUN")
    crs = pyproj.CRS.from_user_input(document["working_crs"])
    try:
        zones = layer.table.set_crs(vectors.WGS84).to_crs(crs)[["zone", "depth_mm", "area_ha", "geometry"]]
        tallies = pd.read_csv(folder / "tallies.csv", dtype={"zone": str})
        tallies = tallies[["zone", "item", "amount", "low", "high", "quantity"]]
        residuals = _residuals(folder / _RESIDUALS)
    except (KeyError, ValueError) as err:
        raise InputError(what=f"a file of the result was changed: {err}", where=str(folder), do="run again") from err
    maps, grid = _maps(folder / _RASTER)
    draws, mean_sd = _recorded(folder / RECORD)
    return PastRun(
        name=folder.resolve().name,
        document=document,
        zones=gpd.GeoDataFrame(zones),
        tallies=tallies,
        insertions=_insertions(folder / _LAYERS),
        maps=maps,
        grid=grid,
        draws=draws,
        mean_sd=mean_sd,
        residuals=residuals,
    )


def _maps(path: Path) -> tuple[dict[str, Floats], tuple[float, float, float]]:
    """Bands by name, and west edge, north edge and cell."""
    if not path.is_file():
        return {}, (np.nan, np.nan, np.nan)
    try:
        with rasterio.open(io.BytesIO(path.read_bytes())) as source:
            bands = source.read().astype(np.float64)
            place = source.transform
            names = [str(name) for name in source.descriptions]
    except rasterio.errors.RasterioError as err:
        raise InputError(what="the raster is damaged", where=str(path), do="run again") from err
    return dict(zip(names, bands, strict=True)), (float(place.c), float(place.f), float(place.a))


def _residuals(path: Path) -> pd.DataFrame:
    """Residuals of all maps, columns `_RESIDUAL`; a `KeyError` or `ValueError` where the file was changed."""
    if not path.is_file():
        return pd.DataFrame(columns=list(_RESIDUAL))
    table = pd.read_csv(path, dtype={"variable": str, "site": str, "insertion": str})[list(_RESIDUAL)]
    return table.astype(dict.fromkeys(_RESIDUAL[3:], float))


def _recorded(path: Path) -> tuple[dict[str, Floats], dict[str, float]]:
    """Total of each item draw by draw, and standard deviations of means of maps; nothing where the run wrote none."""
    if not path.is_file():
        return {}, {}
    record = read_record(path.parent, path.name)
    try:
        totals = totals_of(record).items if "totals" in record else {}
        mean_sd = {str(band): float(sd) for band, sd in record.get("mean_sd", {}).items()}
    except (AttributeError, KeyError, TypeError, ValueError) as err:
        raise InputError(what=f"a file of the result was changed: {err}", where=str(path), do="run again") from err
    return {item: total.shared + total.own for item, total in totals.items()}, mean_sd


def _insertions(path: Path) -> int | None:
    return int(pyogrio.read_info(path, layer="probes")["features"]) if path.is_file() else None
