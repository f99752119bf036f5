"""Maps as one Cloud-Optimised GeoTIFF in the working CRS."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import rasterio
from rasterio.shutil import copy as copy_raster

from hardpan.core.arrays import Floats
from hardpan.records.frame import Frame


def write_geotiff(path: Path, bands: Mapping[str, Floats], units: Mapping[str, str], frame: Frame) -> None:
    """Write the bands as float32, NaN for no data, with their names as descriptions.

    Classes (zone, depth) and continuous maps share the file, so overviews take the nearest cell throughout: a mean
    would invent zones and depths that nobody prescribed.

    Parameters
    ----------
    path : Path
        The file to write.
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
        out.write(np.stack(list(bands.values())).astype("float32"))
        out.descriptions = tuple(bands)
        out.units = tuple(units[name] for name in bands)
    copy_raster(plain, path, driver="COG", compress="DEFLATE", overview_resampling="NEAREST", bigtiff="NO")
    plain.unlink()
