"""The readings of all insertions, packed: no holes inside a profile, no stone spikes."""

from dataclasses import dataclass

import numpy as np
import xarray as xr

from hardpan.core.arrays import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Arrays (insertion, sample); readings come first, NaN pads the end of every row."""

    depth_mm: Floats
    thickness_mm: Floats
    cone_index_kpa: Floats
    at_least: Bools

    @property
    def reached_mm(self) -> Floats:
        """Depth of each insertion's last reading, shape (insertion,); 0 without readings."""
        deepest: Floats = np.fmax.reduce(self.depth_mm, axis=1, initial=0.0)
        return deepest


def pack(readings: xr.Dataset) -> Readings:
    """Give the measured readings with those that were not measured closed up."""
    depth, value = readings["depth_mm"].to_numpy(), readings["cone_index_kpa"].to_numpy()
    measured = np.isfinite(depth) & np.isfinite(value)
    order = np.argsort(~measured, axis=1, kind="stable")

    def packed(name: str) -> np.ndarray:
        return np.take_along_axis(readings[name].to_numpy(), order, axis=1)

    blank = ~np.take_along_axis(measured, order, axis=1)
    return Readings(
        depth_mm=np.where(blank, np.nan, packed("depth_mm")),
        thickness_mm=np.where(blank, 0.0, np.nan_to_num(packed("thickness_mm"))),
        cone_index_kpa=np.where(blank, np.nan, packed("cone_index_kpa")),
        at_least=packed("at_least").astype(bool) & ~blank,
    )


def remove_spikes(readings: Readings, *, ratio: float, span_mm: float) -> tuple[Readings, Bools]:
    """Give the readings without single-sample excursions, and where they were.

    A point reading that is more than `ratio` times the larger of its neighbours (a stone), or less than the smaller
    over `ratio` (a void), takes the value midway between them, if the neighbours are at most `span_mm` apart: further
    apart there is room for a layer between them.
    """
    value, depth = readings.cone_index_kpa, readings.depth_mm
    above, below = value[:, :-2], value[:, 2:]
    middle = value[:, 1:-1]
    odd = np.zeros(value.shape, dtype=bool)
    odd[:, 1:-1] = (middle > ratio * np.maximum(above, below)) | (middle * ratio < np.minimum(above, below))
    odd[:, 1:-1] &= (depth[:, 2:] - depth[:, :-2] <= span_mm) & (readings.thickness_mm[:, 1:-1] == 0.0)
    filled = value.copy()
    filled[:, 1:-1] = np.where(odd[:, 1:-1], (above + below) / 2.0, middle)
    return (
        Readings(
            depth_mm=depth,
            thickness_mm=readings.thickness_mm,
            cone_index_kpa=filled,
            at_least=readings.at_least & ~odd,
        ),
        odd,
    )
