"""Covariate rasters brought to the working grid."""

import re
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import xarray as xr
from affine import Affine

from hardpan.core.arrays import Bools, Floats
from hardpan.core.errors import AmbiguousInputError, HardpanError, InputError
from hardpan.core.memory import UNLIMITED, Memory
from hardpan.core.said import percent
from hardpan.records.frame import Frame
from hardpan.records.issues import Issue
from hardpan.spatial.datum import Points
from hardpan.survey.notes import Bundle, warned

if TYPE_CHECKING:
    from rasterio import DatasetReader

DRIVERS = ["GTiff", "AAIGrid", "HFA"]
"""Formats that keep everything in one file; others can point at files and hosts."""
MOST_PIXELS = 60_000_000
PIXEL_BYTES = 48
"""Memory a raster takes while it is read, for each of its cells: values as read, in double precision, and masks."""
UNDECLARED = (-9999.0, -99999.0, -32768.0, -999.0)
"""Values that stand for "no data" in practice; none is a reading of conductivity, gamma or height."""
LARGEST = 1e15
"""No covariate is larger; what is stands for "no data", such as the largest number a format can hold."""
ALONE = 10.0
"""A value so many times the range of all others away from them is a mark or a fault, not ground."""
COLLAR_SHARE = 0.5
"""Share of zero cells along the edge that makes a collar."""
MOST_SUBSAMPLES = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Raster:
    """The first band of a raster, missing cells NaN, in the CRS of the file."""

    file: str
    name: str
    values: Floats
    transform: Affine
    crs: pyproj.CRS | None
    issues: tuple[Issue, ...]


def read_raster(bundle: Bundle, nodata: float | None, memory: Memory = UNLIMITED) -> Raster:
    """First band of a raster file.

    Raises
    ------
    InputError
        The file is damaged, no raster, too large, or holds complex numbers.
    AmbiguousInputError
        The archive holds several.
    SettingsError
        Its cells take more than `memory`.
    """
    if len(bundle.members) > 1:
        raise AmbiguousInputError(
            what="archive holds several files", where=bundle.name, do="name one raster in surfaces.covariates"
        )
    import rasterio  # few surveys have covariates
    from rasterio.io import MemoryFile

    issues: list[Issue] = []
    try:
        with (
            warnings.catch_warnings(action="ignore"),
            rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR"),
            MemoryFile(bundle.whole) as held,
            held.open(driver=DRIVERS) as source,
        ):
            _check(source, bundle.name, memory)
            band = source.read(1)
            declared, transform = source.nodata, source.transform
            crs = pyproj.CRS.from_wkt(source.crs.to_wkt()) if source.crs else None
            if source.count > 1:
                issues.append(_note(bundle.name, "bands", f"has {source.count} bands", "only the first is used"))
            valid = source.read_masks(1) > 0 if declared is not None else np.ones(band.shape, dtype=bool)
            scale, offset = source.scales[0], source.offsets[0]
    except HardpanError:
        raise
    except Exception as e:  # whatever a damaged file makes the library say
        if "not recognized as being in a supported file format" in str(e):
            right = "GeoTIFF, ASCII grid or HFA"
            raise InputError(what="is in no format of rasters that can be read", where=bundle.name, right=right) from e
        what = re.sub(r"'?/vsi\S+", "the file", str(e))[:120]
        raise InputError(what=f"cannot be read as a raster: {what}", where=bundle.name, do="export it again") from e
    values = np.where(valid, band.astype(np.float64), np.nan)
    values, more = _mask(values, nodata, bundle.name, _ends(band.dtype))
    stem = re.sub(r"\W+", "_", bundle.name.rpartition(".")[0]).strip("_").lower() or "raster"
    return Raster(
        file=bundle.name,
        name=stem,
        values=values * scale + offset,
        transform=transform,
        crs=crs,
        issues=(*issues, *more),
    )


def _note(file: str, code: str, what: str, done: str) -> Issue:
    return warned(f"raster-{code}", what, done, file=file)


def _check(source: "DatasetReader", file: str, memory: Memory) -> None:
    if source.width * source.height > MOST_PIXELS:
        raise InputError(what=f"raster has more than {MOST_PIXELS} cells", where=file, do="cut it to the paddock")
    memory.refuse_beyond(
        source.width * source.height * PIXEL_BYTES,
        what=f"a raster of {source.width} x {source.height} cells",
        where=file,
        do="cut it to the paddock, or raise memory.most_gb",
    )
    if np.issubdtype(np.dtype(source.dtypes[0]), np.complexfloating):
        raise InputError(what="raster holds complex numbers", where=file, right="plain numbers")
    if source.transform.is_identity:
        raise InputError(what="raster has no position (no geotransform)", where=file, do="export it with one")


def _ends(kind: np.dtype) -> tuple[float, ...]:
    """Lowest and highest value that cells of whole numbers can hold, but zero: usual marks of a missing cell."""
    if not np.issubdtype(kind, np.integer):
        return ()
    return tuple(float(end) for end in (np.iinfo(kind).min, np.iinfo(kind).max) if end)


def _mask(values: Floats, nodata: float | None, file: str, ends: tuple[float, ...]) -> tuple[Floats, tuple[Issue, ...]]:
    issues = []
    infinite = np.isinf(values)
    if infinite.any():
        issues.append(_note(file, "infinite", f"{int(infinite.sum())} cells are infinite", "taken as missing"))
    values = np.where(infinite, np.nan, values)
    if nodata is not None:
        values = np.where(values == nodata, np.nan, values)
    hit = np.isin(values, UNDECLARED) | (np.abs(values) > LARGEST)
    hit |= _alone(np.where(hit, np.nan, values), ends)
    if hit.any():
        which = ", ".join(f"{value:g}" for value in sorted(set(values[hit].tolist())))
        what = f"{int(hit.sum())} of {values.size} cells are {which}: far from all others or a usual mark, not declared"
        issues.append(_note(file, "nodata", what, "taken as missing"))
        values = np.where(hit, np.nan, values)
    collar = _collar(values)
    if nodata is None and collar.any():
        what = f"{int(collar.sum())} of {values.size} cells are 0 along the edges, not declared as nodata"
        issues.append(_note(file, "collar", what, "taken as missing"))
        values = np.where(collar, np.nan, values)
    if not np.isfinite(values).any():
        raise InputError(what="raster has no cell with a value", where=file, do="export it again")
    return values, tuple(issues)


def _alone(values: Floats, ends: tuple[float, ...]) -> Bools:
    """Cells that hold the highest or lowest value where it lies far away from all others.

    It need not lie that far where it is one of `ends`, beyond which the file can hold none.
    """
    hit = np.zeros(values.shape, dtype=bool)
    for end in (np.fmin.reduce, np.fmax.reduce):
        mark = end(values, axis=None)
        others = values[(values != mark) & np.isfinite(values)]
        if others.size:
            span, gap = float(np.ptp(others)), abs(float(mark) - float(end(others)))
            hit |= (values == mark) & (gap > (1.0 if mark in ends else ALONE) * span > 0)
    return hit


def _collar(values: Floats) -> Bools:
    """Which cells are a collar of zeros: most of the edge is zero while everything else lies well above."""
    zero = values == 0
    edge = np.ones(values.shape, dtype=bool)
    edge[1:-1, 1:-1] = False
    rest = values[~zero & np.isfinite(values)]
    alone = rest.size > 0 and rest.min() > 0.1 * rest.max()
    return zero if alone and zero[edge].mean() > COLLAR_SHARE else np.zeros(values.shape, dtype=bool)


def sample(raster: Raster, x: Floats, y: Floats) -> Floats:
    """Bilinear value at places in the CRS of the raster, NaN where the cell there is missing, shape of `x`."""
    to_cell = ~raster.transform
    column = to_cell.a * x + to_cell.b * y + to_cell.c - 0.5
    row = to_cell.d * x + to_cell.e * y + to_cell.f - 0.5
    height, width = raster.values.shape
    inside = (column >= -0.5) & (column <= width - 0.5) & (row >= -0.5) & (row <= height - 0.5)
    column = np.clip(np.where(inside, column, 0.0), 0, width - 1)
    row = np.clip(np.where(inside, row, 0.0), 0, height - 1)
    left, top = np.floor(column).astype(np.int64), np.floor(row).astype(np.int64)
    total, weight = np.zeros(x.shape), np.zeros(x.shape)
    for down, right in ((0, 0), (0, 1), (1, 0), (1, 1)):
        at_row, at_column = np.minimum(top + down, height - 1), np.minimum(left + right, width - 1)
        value = raster.values[at_row, at_column]
        share = np.abs(1 - down - (row - top)) * np.abs(1 - right - (column - left))
        good = np.isfinite(value)
        total += np.where(good, share * np.where(good, value, 0.0), 0.0)
        weight += np.where(good, share, 0.0)
    here = np.isfinite(raster.values[np.round(row).astype(np.int64), np.round(column).astype(np.int64)])
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(inside & here & (weight > 0), total / weight, np.nan)


def to_frame(raster: Raster, frame: Frame, back: Points) -> Floats:
    """Raster on the frame: the mean of samples within each cell where the raster is finer than the frame.

    Parameters
    ----------
    raster : Raster
        As read.
    frame : Frame
        The working grid.
    back : callable
        Moves working coordinates to the CRS of the raster.
    """
    x, y = np.meshgrid(frame.x_m, frame.y_m)
    middle = np.asarray(back(x.ravel()[:1], y.ravel()[:1])).ravel()
    beside = np.asarray(back(x.ravel()[:1] + frame.cell_m, y.ravel()[:1])).ravel()
    pixel = float(np.hypot(raster.transform.a, raster.transform.d))
    finer = float(np.hypot(*(beside - middle))) / pixel
    count = int(np.clip(np.ceil(finer), 1, MOST_SUBSAMPLES))
    offsets = ((np.arange(count) + 0.5) / count - 0.5) * frame.cell_m
    total, weight = np.zeros(x.size), np.zeros(x.size)
    for shift_y in offsets:
        for shift_x in offsets:
            value = sample(raster, *back((x + shift_x).ravel(), (y + shift_y).ravel()))
            good = np.isfinite(value)
            total += np.where(good, value, 0.0)
            weight += good
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weight * 2 >= count**2, total / weight, np.nan).reshape(frame.shape)


def judge(
    name: str, values: Floats, inside: Bools, bare_sites: list[str], file: str
) -> tuple[Floats | None, tuple[Issue, ...]]:
    """Covariate on the frame, or None where it says nothing, with its coverage of the paddock told."""
    here = values[inside]
    share = float(np.isfinite(here).mean()) if here.size else 0.0
    if share == 0:
        raise InputError(what=f"covariate {name} does not cover the paddock", where=file, do="check its CRS")
    spread = float(np.nanmax(here) - np.nanmin(here))
    if spread <= 1e-9 * max(abs(float(np.nanmean(here))), 1.0):
        return None, (_note(file, "constant", f"covariate {name} is constant over the paddock", "left out"),)
    if share > 0.999 and not bare_sites:
        return values, ()
    missing = f", not sites {', '.join(bare_sites[:8])}" + (" ..." if len(bare_sites) > 8 else "") if bare_sites else ""
    what = f"covariate {name} covers {percent(share, 1)} of the paddock{missing}"
    return values, (_note(file, "coverage", what, "left missing elsewhere, not extrapolated"),)


def stack(covariates: dict[str, Floats], frame: Frame) -> xr.Dataset:
    """Covariates as one dataset on the frame; an empty one where there are none."""
    if not covariates:
        return xr.Dataset()  # coordinates alone would load every array library that xarray knows
    return xr.Dataset(
        {name: (("y", "x"), values) for name, values in covariates.items()}, coords={"y": frame.y_m, "x": frame.x_m}
    )
