"""A checked survey: profiles, boundary, soils, cores and covariates, in one projected CRS."""

from dataclasses import dataclass, field
from enum import StrEnum

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
import xarray as xr

from hardpan.core.errors import InputError
from hardpan.records.frame import Frame
from hardpan.records.issues import Issues

INSERTION = ("insertion", "site", "replicate", "x_m", "y_m", "date", "stop", "stop_mm", "source_file", "source_row")
"""Per-insertion coordinates of `Profiles.readings`."""


class Stop(StrEnum):
    """Why an insertion ended where it did."""

    ROD_END = "rod end"
    """The depth at which the rods of its file and date end was reached."""
    REFUSAL = "refusal"
    """Stone, strength of the operator, or load limit stopped the probe while it read hard."""
    LIMIT = "device limit"
    """The last readings stand at the device's limit: at least so much."""
    SHORT = "short"
    """The record ends early without reading hard: nothing is known below."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profiles:
    """Penetrometer profiles, ragged in depth, padded at the end.

    `readings` has dims (insertion, sample) and data variables

    - `depth_mm` float64: depth the reading stands for, positive down, rising along `sample`; NaN is padding.
      For layered input it is the middle of the layer.
    - `thickness_mm` float64: thickness of the layer the reading is the mean of; 0 for a point reading.
    - `cone_index_kpa` float64: NaN where not measured (missing cell, sentinel, below refusal).
    - `at_least` bool: the reading is at the device's limit, so the value is a lower bound.
    - `held` bool (optional): the reading repeats a value that the sensor or logger held: it says nothing of its own.
    - `theta` float64 (optional): volumetric water content m3/m3 at the same depth; NaN where not measured.
    - `se_kpa` float64 (optional): standard error of a reading that is the mean of a site's insertions; NaN where none.

    and per-insertion coordinates (`INSERTION`): `insertion` (unique text, the index),
    `site` (text), `replicate` (int), `x_m`, `y_m` (working CRS), `date` (ISO text or ""), `stop` (value of `Stop`),
    `stop_mm` (depth reached), `source_file`, `source_row` (1-based row of its first reading, 0 if unknown).
    """

    readings: xr.Dataset
    depth_limit_mm: float
    """Deepest depth the survey set out to read (end of the longest rod)."""

    def __post_init__(self) -> None:
        missing = [name for name in INSERTION if name not in self.readings.coords]
        missing += [
            name for name in ("depth_mm", "thickness_mm", "cone_index_kpa", "at_least") if name not in self.readings
        ]
        if missing:
            raise InputError(what=f"profiles lack {', '.join(missing)}", right="all of `INSERTION`")

    @property
    def n_insertions(self) -> int:
        """Number of insertions."""
        return int(self.readings.sizes["insertion"])

    @property
    def table(self) -> pd.DataFrame:
        """One row a reading.

        Columns `insertion`, `site`, `date`, `stop`, `x_m`, `y_m`, `depth_mm`, `cone_index_kpa`, `theta`.
        """
        data = self.readings
        measured = np.isfinite(data["depth_mm"].to_numpy()) & np.isfinite(data["cone_index_kpa"].to_numpy())
        row, sample = np.nonzero(measured)
        about = {name: data[name].to_numpy()[row] for name in ("insertion", "site", "date", "stop", "x_m", "y_m")}
        values = {name: data[name].to_numpy()[row, sample] for name in ("depth_mm", "cone_index_kpa")}
        theta = data["theta"].to_numpy()[row, sample] if "theta" in data else np.full(row.size, np.nan)
        return pd.DataFrame({**about, **values, "theta": theta})


@dataclass(frozen=True, slots=True, kw_only=True)
class DatumMove:
    """How one input came to the working CRS."""

    file: str
    from_crs: str
    to_crs: str
    operation: str
    accuracy_m: float | None
    """Stated accuracy of the operation; None where the registry states none."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Paddock:
    """The paddock's ground."""

    name: str
    boundary: gpd.GeoSeries
    """One row: Polygon or MultiPolygon in the working CRS."""
    area_ha: float
    """Geodesic area of the boundary on its own ellipsoid."""
    exclusions: gpd.GeoDataFrame
    """Columns `name`, `kind`, `buried` bool, `buffer_m`, `geometry` (polygons, buffers already applied, clipped to the
    boundary, not overlapping one another). May be empty."""

    @property
    def ground(self) -> shapely.Geometry:
        """The boundary as one geometry."""
        return self.boundary.iloc[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Survey:
    """Everything that was read, checked, in the working CRS."""

    paddock: Paddock
    probed: Profiles | None
    """None before a first survey."""
    soils: gpd.GeoDataFrame
    """Columns `soil_type` (a key of the catalog), `label` (as in the file), `clay_depth_mm` (float, NaN unknown),
    `geometry`: polygons clipped to the boundary, no overlaps, no gaps."""
    cores: gpd.GeoDataFrame
    """Lab cores, one row a core: `core`, `soil_type`, `geometry` and any of `ph_0_100`, `ph_100_200`, `ph_200_300`
    (pH in CaCl2), `repellence_med` (mol/L), `clay_depth_mm`, `clay_pct`, `esp_pct`, `esp_depth_mm`, `gravel_pct`,
    `carbonate_pct`; NaN where not measured. May be empty."""
    frame: Frame
    """Working grid over the boundary."""
    covariates: xr.Dataset
    """Dims (y, x) on `frame`; one float variable each raster, NaN outside its coverage. May be empty."""
    crs: pyproj.CRS
    datum_moves: tuple[DatumMove, ...]
    digests: pd.Series
    """File name to SHA-256 of every input read."""
    issues: Issues = field(default=())

    @property
    def profiles(self) -> Profiles:
        """Profiles of a paddock that was probed.

        Raises
        ------
        InputError
            It was not.
        """
        if self.probed is None:
            raise InputError(what="the paddock was not probed yet", where=self.paddock.name, do="name its readings")
        return self.probed

    @property
    def soil_types(self) -> tuple[str, ...]:
        """Names of the soil types of the paddock, in the order of their codes."""
        if self.soils.empty:
            return ("not mapped",)
        return tuple(sorted(self.soils["soil_type"].astype(str).unique()))
