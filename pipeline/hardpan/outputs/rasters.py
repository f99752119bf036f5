"""Maps as one Cloud-Optimised GeoTIFF in the working CRS, and joint draws of the pan as NetCDF [cf2023]."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import rasterio
import xarray as xr
from pyproj import CRS
from rasterio.shutil import copy as copy_raster

from hardpan.core.arrays import Floats
from hardpan.records.frame import Frame
from hardpan.records.surfaces import Surfaces

_MEANINGS = {
    "present": ("pan present", "1"),
    "top_mm": ("depth to the top of the pan, where there is one", "mm"),
    "bottom_mm": ("depth to the bottom of the pan, where there is one", "mm"),
    "peak_kpa": ("highest cone index in the pan, where there is one", "kPa"),
    "clay_mm": ("depth to the clay subsoil", "mm"),
    "clay_depth_mm": ("mean depth to the clay subsoil", "mm"),
}
"""Variable to its long name and unit."""

_PLACES = {"x": "projection_x_coordinate", "y": "projection_y_coordinate"}


def write_geotiff(path: Path, bands: Mapping[str, Floats], units: Mapping[str, str], frame: Frame) -> None:
    """Write the bands as float32, NaN for no data, with their names as descriptions.

    Classes (zone, depth) and continuous maps share the file, so overviews take the nearest cell throughout: a mean
    would invent zones and depths that nobody prescribed.

    Parameters
    ----------
    bands : Mapping
        Band description to values of shape (n_rows, n_cols), NaN outside, in band order.
    units : Mapping
        Band description to unit.
    frame : Frame
        The grid.
    """
    plain = path.with_suffix(".plain.tif")
    profile = {"driver": "GTiff", "dtype": "float32", "count": len(bands), "nodata": np.nan}
    with rasterio.open(
        plain, "w", **profile, height=frame.n_rows, width=frame.n_cols, crs=frame.crs.to_wkt(), transform=frame.affine
    ) as out:
        out.write(np.stack([values.astype("float32") for values in bands.values()]))
        out.descriptions = tuple(bands)
        out.units = tuple(units[name] for name in bands)
    copy_raster(plain, path, driver="COG", compress="DEFLATE", overview_resampling="NEAREST", bigtiff="NO")
    plain.unlink()


def write_netcdf(path: Path, surfaces: Surfaces, *, title: str, seed: int, version: str) -> None:
    """Write the draws on their nodes, and the node of every cell, as NetCDF-3 with 64-bit offsets.

    Every variable names its unit and the variable `crs`, which holds the working CRS as text and as parameters.

    Parameters
    ----------
    surfaces : Surfaces
        Whose draws.
    title : str
        Name of the paddock.
    seed, version : int, str
        What the draws came from.
    """
    crs = surfaces.frame.crs
    draws = surfaces.draws.assign(present=surfaces.draws["present"].astype(np.int8))
    draws = draws.assign_coords(draw=np.arange(draws.sizes["draw"], dtype=np.int32))
    draws["soil"] = draws["soil"].astype(np.int32)
    cells = {"x": ("x", surfaces.frame.x_m), "y": ("y", surfaces.frame.y_m)}
    draws = draws.assign_coords(cells).assign(
        node_of_cell=(("y", "x"), surfaces.node_of_cell.astype(np.int32)), crs=((), np.int32(0))
    )
    _describe(draws, crs, surfaces.soil_types)
    draws.attrs = {
        "Conventions": "CF-1.11",
        "title": f"Joint draws of the pan: {title}",
        "source": f"hardpan {version}, seed {seed}",
        "comment": "Draws are joint over the nodes; a cell's draw is that of its node (node_of_cell, -1 outside).",
        "crs": crs.to_string(),
        "crs_wkt": crs.to_wkt(),
    }
    fill = {name: {"_FillValue": np.float32(np.nan)} for name, of in draws.data_vars.items() if of.dtype == np.float32}
    draws.to_netcdf(path, engine="scipy", format="NETCDF3_64BIT", encoding=fill)


def _describe(draws: xr.Dataset, crs: CRS, soil_types: tuple[str, ...]) -> None:
    """Set unit, meaning and CRS of every variable."""
    for name, (meaning, unit) in _MEANINGS.items():
        draws[name].attrs = {"long_name": meaning, "units": unit, "grid_mapping": "crs"}
    for name, of in (("x_m", "x"), ("y_m", "y"), ("x", "x"), ("y", "y")):
        draws[name].attrs = {"standard_name": _PLACES[of], "units": "m"}
    draws["soil"].attrs = {
        "long_name": "soil type",
        "units": "1",
        "flag_values": np.arange(len(soil_types), dtype=np.int32),
        "flag_meanings": " ".join(name.replace(" ", "_") for name in soil_types),
    }
    draws["node_of_cell"].attrs = {"long_name": "node a cell belongs to", "units": "1", "grid_mapping": "crs"}
    draws["draw"].attrs = {"long_name": "number of the draw", "units": "1"}
    draws["crs"].attrs = {name: value for name, value in crs.to_cf().items() if not isinstance(value, bool)}
