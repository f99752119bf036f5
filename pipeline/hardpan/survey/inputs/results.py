"""Results of earlier runs, read back from their folders."""

import io
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import rasterio

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.after import RECORD
from hardpan.records.past import PastRun
from hardpan.records.trail import MANIFEST
from hardpan.survey import files, vectors
from hardpan.survey.inputs.earlier import read_record, totals_of

_NEEDED = ("prescription.geojson", "tallies.csv")
_HELD = frozenset({"version", "settings", "settings_sha256", "inputs_sha256", "working_crs"})
"""Parts of run.json that are compared."""

_RASTER, _LAYERS, _RESIDUALS = "surfaces.tif", "prescription.gpkg", "residuals.csv"
"""Files that a run need not have written."""

_RESIDUAL = ("variable", "site", "insertion", "x_m", "y_m", "residual", "sd")
"""Columns of `PastRun.residuals`."""

_DAMAGE = (
    AttributeError, KeyError, TypeError, ValueError, pyproj.exceptions.CRSError, rasterio.errors.RasterioError,
    rasterio.errors.NotGeoreferencedWarning, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError,
)  # fmt: skip
"""What reading a file that was changed by hand, or cut, ends in."""


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
    with _undamaged(folder / MANIFEST):
        _check_settings(document)
        crs = pyproj.CRS.from_user_input(document["working_crs"])
    with _undamaged(folder / _NEEDED[0]):
        zones = _zones(folder / _NEEDED[0], crs)
    with _undamaged(folder / _NEEDED[1]):
        tallies = pd.read_csv(folder / _NEEDED[1], dtype={"zone": str})
        numbers = ["amount", "low", "high", "quantity"]
        tallies = tallies[["zone", "item", *numbers]].astype(dict.fromkeys(numbers, float))
    with _undamaged(folder / _RESIDUALS):
        residuals = _residuals(folder / _RESIDUALS)
    with _undamaged(folder / _RASTER):
        maps, grid = _maps(folder / _RASTER)
    with _undamaged(folder / RECORD):
        draws, mean_sd = _recorded(folder / RECORD)
    with _undamaged(folder / _LAYERS):
        probes = folder / _LAYERS
        insertions = int(pyogrio.read_info(probes, layer="probes")["features"]) if probes.is_file() else None
    return PastRun(
        name=folder.resolve().name, document=document, zones=zones, tallies=tallies, insertions=insertions, maps=maps,
        grid=grid, draws=draws, mean_sd=mean_sd, residuals=residuals,
    )  # fmt: skip


@contextmanager
def _undamaged(path: Path) -> Iterator[None]:
    """Turns what a damaged file ends in into one plain line."""
    try:
        yield
    except _DAMAGE as err:
        raise InputError(
            what="was changed or is damaged",
            where=str(path),
            right="the file as `hardpan run` wrote it",
            do="run again",
        ) from err


def _check_settings(document: Mapping[str, Any]) -> None:
    """A `TypeError` or `KeyError` where parts of run.json that are compared are not what they were."""
    settings = document["settings"]
    tables = (document["inputs_sha256"], document.get("versions", {}), settings, settings["paddock"])
    if not all(isinstance(table, dict) for table in (*tables, settings.get("prices") or {})):
        raise TypeError(MANIFEST)


def _zones(path: Path, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Zones of the prescription in the working CRS; a `ValueError` where one has no place or no depth."""
    layer = vectors.read_layer(files.load(path, what="the zones"), None, key="RUN")
    zones = layer.table.set_crs(vectors.WGS84).to_crs(crs)[["zone", "depth_mm", "area_ha", "geometry"]]
    zones = zones.astype({"depth_mm": float, "area_ha": float})
    if not len(zones) or zones.isna().any(axis=None) or zones.is_empty.any():
        raise ValueError(path.name)
    return gpd.GeoDataFrame(zones)


def _maps(path: Path) -> tuple[dict[str, Floats], tuple[float, float, float]]:
    """Bands by name, and west edge, north edge and cell."""
    if not path.is_file():
        return {}, (np.nan, np.nan, np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("error", rasterio.errors.NotGeoreferencedWarning)
        with rasterio.open(io.BytesIO(path.read_bytes())) as source:
            bands = source.read().astype(np.float64)
            place = source.transform
            names = [str(name) for name in source.descriptions]
    return dict(zip(names, bands, strict=True)), (float(place.c), float(place.f), float(place.a))


def _residuals(path: Path) -> pd.DataFrame:
    """Residuals of all maps, columns `_RESIDUAL`; no rows where the run wrote none."""
    if not path.is_file():
        return pd.DataFrame(columns=list(_RESIDUAL))
    table = pd.read_csv(path, dtype={"variable": str, "site": str, "insertion": str})[list(_RESIDUAL)]
    return table.astype(dict.fromkeys(_RESIDUAL[3:], float))


def _recorded(path: Path) -> tuple[dict[str, Floats], dict[str, float]]:
    """Total of each item draw by draw, and standard deviations of means of maps; nothing where the run wrote none."""
    if not path.is_file():
        return {}, {}
    record = read_record(path.parent, path.name)
    totals = totals_of(record).items if "totals" in record else {}
    mean_sd = {str(band): float(sd) for band, sd in record.get("mean_sd", {}).items()}
    return {item: total.shared + total.own for item, total in totals.items()}, mean_sd
