"""The plan on a grid of longitude and latitude, as a task controller takes it."""

import affine
import geopandas as gpd
import numpy as np
import pandas as pd
import xarray as xr
from rasterio.features import rasterize

from hardpan.core.errors import HardpanError
from hardpan.core.said import Said, area, depth, distance, joined, percent
from hardpan.core.units import M2_PER_HA
from hardpan.outputs.settings import OutputSettings
from hardpan.records.issues import Issue, Issues

_FINEST_M = 0.5
"""Cells finer than any steering holds are not tried."""

_NEARLY = 1.05
"""Cells coarser than wanted by less than this factor are not worth a remark."""

_SLACK = 1e-9
"""Cells a grid may fall short of the ground by, lest rounding adds a row or column."""


def zone_grid(
    zones: gpd.GeoDataFrame, degrees_per_m: tuple[float, float], settings: OutputSettings, width_m: float
) -> tuple[xr.DataArray, Issues]:
    """Zone number of each cell, and what was changed to fit.

    A cell belongs to the zone its centre lies in, which keeps the hectares of narrow pieces true; a cell that touches
    keep-out ground belongs to that, so that no corner of a ripped cell reaches into it. Cells are halved while the
    hectares of a depth are off, but rows and columns never exceed `settings.max_grid_side`.

    Parameters
    ----------
    zones : GeoDataFrame
        `zone`, `kind`, `depth_mm`, `area_ha` and polygons in WGS 84.
    degrees_per_m : tuple of float
        Degrees of longitude and of latitude in a metre at mid-paddock.
    settings : OutputSettings
        The cell asked for, the most cells a side, and the share the hectares of a depth may be off untold.
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
        The cells are so coarse that no centre lies in a zone to be ripped or in a check strip.
    """
    west, south, east, north = zones.total_bounds
    extent_m = max((east - west) / degrees_per_m[0], (north - south) / degrees_per_m[1])
    finest_m = max(_FINEST_M, float(np.ceil(extent_m / settings.max_grid_side * 100) / 100))
    wanted_m = settings.grid_cell_m or width_m / 2
    cell_m = max(wanted_m, finest_m)
    while True:
        plain = _burnt(zones, degrees_per_m, cell_m)
        grid = _lifted(plain, zones)
        off = _off_share(zones, grid)
        if settings.grid_cell_m or cell_m <= finest_m or off.abs().max() <= settings.grid_tolerance:
            break
        cell_m = max(cell_m / 2, finest_m)
    _refuse_lost(zones, plain, settings)
    return grid, (*_coarser(grid, wanted_m, settings), *_told(zones, grid, off, settings))


def _burnt(zones: gpd.GeoDataFrame, degrees_per_m: tuple[float, float], cell_m: float) -> xr.DataArray:
    """Zone that each cell's centre lies in."""
    west, south, east, north = zones.total_bounds
    cell_lon, cell_lat = (round(degrees * cell_m, 12) for degrees in degrees_per_m)
    n_cols, n_rows = (max(1, int(np.ceil(n - _SLACK))) for n in ((east - west) / cell_lon, (north - south) / cell_lat))
    empty = xr.DataArray(
        np.zeros((n_rows, n_cols), dtype="int32"),
        dims=("latitude", "longitude"),
        coords={
            "latitude": south + (np.arange(n_rows) + 0.5) * cell_lat,
            "longitude": west + (np.arange(n_cols) + 0.5) * cell_lon,
        },
        attrs={"south": south, "west": west, "cell_lat": cell_lat, "cell_lon": cell_lon, "cell_m": cell_m},
    )
    return _painted(empty, zones, touching=False)


def _lifted(grid: xr.DataArray, zones: gpd.GeoDataFrame) -> xr.DataArray:
    """Grid with every cell that touches keep-out ground given to that."""
    shut = zones[zones["kind"] == "exclusion"]
    return _painted(grid, shut, touching=True) if len(shut) else grid


def _painted(grid: xr.DataArray, zones: gpd.GeoDataFrame, *, touching: bool) -> xr.DataArray:
    a = grid.attrs
    north = a["south"] + grid.sizes["latitude"] * a["cell_lat"]
    codes = grid.to_numpy()[::-1].copy()
    rows = zip(zones.geometry, zones["zone"].astype(int), strict=True)
    transform = affine.Affine(a["cell_lon"], 0.0, a["west"], 0.0, -a["cell_lat"], north)
    rasterize(rows, out=codes, transform=transform, all_touched=touching)
    return grid.copy(data=codes[::-1])


def _hectares(zones: gpd.GeoDataFrame, grid: xr.DataArray) -> pd.Series:
    """Hectares of each zone in the grid, in the order of the table."""
    cells = np.bincount(grid.to_numpy().ravel(), minlength=int(zones["zone"].max()) + 1)
    return pd.Series(cells[zones["zone"]] * grid.attrs["cell_m"] ** 2 / M2_PER_HA, index=zones.index)


def _off_share(zones: gpd.GeoDataFrame, grid: xr.DataArray) -> pd.Series:
    """Share by which the hectares of each ripped depth are more in the grid than in the plan, by depth in mm."""
    ripped = zones["depth_mm"] > 0
    depths = zones.loc[ripped, "depth_mm"]
    gridded, drawn = (area[ripped].groupby(depths).sum() for area in (_hectares(zones, grid), zones["area_ha"]))
    return gridded / drawn - 1 if ripped.any() else pd.Series([0.0], index=[0])


def _refuse_lost(zones: gpd.GeoDataFrame, plain: xr.DataArray, settings: OutputSettings) -> None:
    told_apart = (zones["depth_mm"] > 0) | (zones["kind"] == "strip")
    lost = zones[told_apart & (_hectares(zones, plain) == 0)]
    if len(lost):
        zone, kind = lost[["zone", "kind"]].iloc[0]
        duty = "is to be left as a check strip" if kind == "strip" else "is to be ripped"
        asked = "outputs.grid_cell_m" if settings.grid_cell_m else "outputs.max_grid_side"
        raise HardpanError(
            what=f"a task grid of {plain.attrs['cell_m']:g} m cells has none for zone {zone}, which {duty}",
            where=asked,
            do="give a finer cell or a larger max_grid_side, or isoxml_shape = 'polygons'",
        )


def _coarser(grid: xr.DataArray, wanted_m: float, settings: OutputSettings) -> Issues:
    cell_m = float(grid.attrs["cell_m"])
    if cell_m <= _NEARLY * wanted_m:
        return ()
    what = Said(
        "a task grid of {cell} cells would have more than {most} a side (outputs.max_grid_side)",
        cell=distance(wanted_m),
        most=settings.max_grid_side,
    )
    done = Said("cells of {cell}, {n} by {m}", cell=distance(cell_m), n=grid.shape[1], m=grid.shape[0])
    return (Issue("outputs", "task-grid-cell", what, done),)


def _told(zones: gpd.GeoDataFrame, grid: xr.DataArray, off: pd.Series, settings: OutputSettings) -> Issues:
    """Remark on the depths whose hectares are off by more than the stated share."""
    wide = off[off.abs() > settings.grid_tolerance]
    if wide.empty:
        return ()
    shut = zones["kind"] == "exclusion"
    lifted_ha = float((_hectares(zones, grid) - zones["area_ha"])[shut].sum())
    by_depth = (
        Said(
            "{share} {more} at {depth}",
            share=percent(abs(share), 1),
            more="more" if share > 0 else "less",
            depth=depth(mm),
        )
        for mm, share in zip(wide.index.to_numpy(float).tolist(), wide, strict=True)
    )
    lifted = "; {lifted} more are lifted, in cells that touch keep-out ground" if shut.any() else ""
    what = Said(
        "by area the task grid has {found} than the plan" + lifted, found=joined(by_depth, ", "), lifted=area(lifted_ha)
    )
    done = "written so; a larger outputs.max_grid_side gives finer cells, isoxml_shape = 'polygons' exact borders"
    return (Issue("outputs", "task-grid-hectares", what, done),)
