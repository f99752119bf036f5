"""The readings of all insertions as the room's workers pass them on: closed up, and stones taken out."""

import dataclasses
from dataclasses import dataclass

import numpy as np
import xarray as xr

from hardpan.core.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Packed readings, shape (insertion, sample): no holes inside a profile, NaN pads the end of every row."""

    depth_mm: Floats
    """Rising along a row; the middle of the layer where the reading is a layer's mean."""
    thickness_mm: Floats
    """0 for a point reading."""
    cone_index_kpa: Floats
    at_least: Bools
    """The reading is at the device's limit: the ground is at least so hard."""

    held: Bools
    """The reading repeats a value that the sensor or logger held, so it says nothing of its own."""
    se_kpa: Floats
    """Standard error of a reading that is the mean of a site's insertions; NaN where none is stated."""

    def rows(self, chosen: np.ndarray) -> "Readings":
        """Insertions that `chosen` (a mask or numbers) picks."""
        return Readings(
            depth_mm=self.depth_mm[chosen],
            thickness_mm=self.thickness_mm[chosen],
            cone_index_kpa=self.cone_index_kpa[chosen],
            at_least=self.at_least[chosen],
            held=self.held[chosen],
            se_kpa=self.se_kpa[chosen],
        )

    @property
    def known_mm(self) -> Floats:
        """Depth of each insertion's last reading that is not a held value, shape (insertion,); 0 without readings."""
        deepest: Floats = np.fmax.reduce(np.where(self.held, np.nan, self.depth_mm), axis=1, initial=0.0)
        return deepest

    @property
    def run_at(self) -> Ints:
        """Sample of each reading, for a held one that of the reading whose value it repeats, shape as the readings."""
        sample = np.broadcast_to(np.arange(self.held.shape[1]), self.held.shape)
        first: Ints = np.maximum.accumulate(np.where(self.held, 0, sample), axis=1)
        return first

    @property
    def layered(self) -> Bools:
        """Insertions that are means of layers, shape (insertion,)."""
        thick: Bools = np.any(self.thickness_mm > 0, axis=1)
        return thick


def pack(readings: xr.Dataset) -> Readings:
    """Measured readings with those that were not measured closed up."""
    depth, value = readings["depth_mm"].to_numpy(), readings["cone_index_kpa"].to_numpy()
    measured = np.isfinite(depth) & np.isfinite(value)
    order = np.argsort(~measured, axis=1, kind="stable")
    measured = np.take_along_axis(measured, order, axis=1)
    depth, thickness, value, at_least = (
        np.take_along_axis(readings[name].to_numpy(), order, axis=1)
        for name in ("depth_mm", "thickness_mm", "cone_index_kpa", "at_least")
    )
    held = np.take_along_axis(readings["held"].to_numpy(), order, axis=1) if "held" in readings else False
    se = np.take_along_axis(readings["se_kpa"].to_numpy(), order, axis=1) if "se_kpa" in readings else np.nan
    return Readings(
        depth_mm=np.where(measured, depth, np.nan),
        thickness_mm=np.where(measured, thickness, 0.0),
        cone_index_kpa=np.where(measured, value, np.nan),
        at_least=np.where(measured, at_least, False),  # noqa: FBT003
        held=measured & held,
        se_kpa=np.where(measured, se, np.nan),
    )


def remove_stones(readings: Readings, *, ratio: float, span_mm: float) -> tuple[Readings, Bools]:
    """Readings without stones hit in passing, and where they were.

    A point reading that is more than `ratio` times the larger of its neighbours takes the value midway between them,
    if the neighbours are at most `span_mm` apart: further apart there is room for a layer between them.
    """
    depth, value = readings.depth_mm, readings.cone_index_kpa
    above, middle, below = value[:, :-2], value[:, 1:-1], value[:, 2:]
    lone = (middle > ratio * np.maximum(above, below)) & (depth[:, 2:] - depth[:, :-2] <= span_mm)
    ends = ((0, 0), (1, 1))
    stone = np.pad(lone & (readings.thickness_mm[:, 1:-1] == 0), ends)[:, : value.shape[1]]
    midway = np.pad((above + below) / 2.0, ends)[:, : value.shape[1]]
    calm = dataclasses.replace(
        readings, cone_index_kpa=np.where(stone, midway, value), at_least=readings.at_least & ~stone
    )
    return calm, stone
