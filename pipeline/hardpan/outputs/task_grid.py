"""The plan on a grid of longitude and latitude, as a task controller takes it."""

import affine
import geopandas as gpd
import numpy as np
import xarray as xr
from rasterio.features import rasterize

from hardpan.core.errors import HardpanError
from hardpan.core.units import M2_PER_HA
from hardpan.outputs.settings import OutputSettings
from hardpan.records.issues import Issue, Issues, Outcome

_FINEST_M = 0.5
"""Cells finer than any steering holds are not tried."""

_NEARLY = 1.05
"""Cells coarser than wanted by less than this factor are not worth a remark."""


def zone_grid(
    zones: gpd.GeoDataFrame, degrees_per_m: tuple[float, float], settings: OutputSettings, width_m: float
) -> tuple[xr.DataArray, Issues]:
    """Give the zone number of each cell, and what was changed to fit.

    A cell belongs to the zone its centre lies in; a cell that touches keep-out ground belongs to that, so that no
    corner of a ripped cell reaches into it.

    Parameters
    ----------
    zones : GeoDataFrame
        `zone`, `kind`, `depth_mm`, `area_ha` and polygons in WGS 84.
    degrees_per_m : tuple of float
        Degrees of longitude and of latitude in a metre at mid-paddock.
    settings : OutputSettings
        The cell asked for, the most cells a side, and the hectares a grid may be off.
    width_m : float
        Working width of the ripper; half of it is the cell where none is asked for.

    Returns
    -------
    DataArray
        int32, dims (latitude, longitude), both rising, so that flattening gives the order of ISO 11783-10: west to
        east, then south to north. 0 is outside the paddock. Attributes: `south`, `west`, `cell_lat`, `cell_lon`
        (degrees) and `cell_m`.

    Raises
    ------
    HardpanError
        The cell asked for is too coarse for the zones.
    """
    asked = settings.grid_cell_m
    west, south, east, north = zones.total_bounds
    extent_m = max((east - west) / degrees_per_m[0], (north - south) / degrees_per_m[1])
    habit_m = float(np.ceil(extent_m / settings.max_grid_side * 100) / 100)
    cell_m = asked or max(width_m / 2, habit_m)
    while True:
        grid = _burnt(zones, degrees_per_m, cell_m)
        worst = _worst_share(zones, grid)
        if worst <= settings.grid_tolerance:
            return grid, _told(grid, asked or width_m / 2, settings)
        if asked or cell_m / 2 < _FINEST_M:
            raise HardpanError(
                what=f"a task grid of {cell_m:g} m cells is {worst:.1%} off in the hectares of a depth",
                where="outputs.grid_cell_m",
                right=f"at most {settings.grid_tolerance:.0%}",
                do="give a finer cell, or isoxml_shape = 'polygons'",
            )
        cell_m /= 2


def _burnt(zones: gpd.GeoDataFrame, degrees_per_m: tuple[float, float], cell_m: float) -> xr.DataArray:
    west, south, east, north = zones.total_bounds
    cell_lon, cell_lat = (round(degrees * cell_m, 12) for degrees in degrees_per_m)
    n_cols, n_rows = int(np.ceil((east - west) / cell_lon)), int(np.ceil((north - south) / cell_lat))
    codes = np.zeros((n_rows, n_cols), dtype="int32")
    transform = affine.Affine(cell_lon, 0.0, west, 0.0, -cell_lat, south + n_rows * cell_lat)
    shut = zones["kind"] == "exclusion"
    for part, touching in ((zones[~shut], False), (zones[shut], True)):
        if len(part):
            rows = zip(part.geometry, part["zone"].astype(int), strict=True)
            rasterize(rows, out=codes, transform=transform, all_touched=touching)
    return xr.DataArray(
        codes[::-1],
        dims=("latitude", "longitude"),
        coords={
            "latitude": south + (np.arange(n_rows) + 0.5) * cell_lat,
            "longitude": west + (np.arange(n_cols) + 0.5) * cell_lon,
        },
        attrs={"south": south, "west": west, "cell_lat": cell_lat, "cell_lon": cell_lon, "cell_m": cell_m},
    )


def _worst_share(zones: gpd.GeoDataFrame, grid: xr.DataArray) -> float:
    """Give the largest share by which the hectares of a ripped depth differ between grid and polygons."""
    cells = np.bincount(grid.to_numpy().ravel(), minlength=int(zones["zone"].max()) + 1)
    gridded = zones["zone"].map(dict(enumerate(cells))) * grid.attrs["cell_m"] ** 2 / M2_PER_HA
    ripped = zones["depth_mm"] > 0
    depths = zones.loc[ripped, "depth_mm"]
    drawn = zones.loc[ripped, "area_ha"].groupby(depths).sum()
    return float(np.abs(gridded[ripped].groupby(depths).sum() / drawn - 1).max()) if ripped.any() else 0.0


def _told(grid: xr.DataArray, wanted_m: float, settings: OutputSettings) -> Issues:
    cell_m = float(grid.attrs["cell_m"])
    side = max(grid.shape)
    if cell_m <= _NEARLY * wanted_m and side <= settings.max_grid_side:
        return ()
    return (
        Issue(
            outcome=Outcome.WARN,
            stage="outputs",
            code="task-grid-cell",
            what=f"a task grid of {wanted_m:g} m cells with at most {settings.max_grid_side} a side does not fit",
            done=f"cells of {cell_m:g} m, {grid.shape[1]} by {grid.shape[0]}; within {settings.grid_tolerance:.0%} "
            "in hectares",
        ),
    )
