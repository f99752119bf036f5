"""Profiles to packed readings: what was not measured closed up, stones taken out."""

import dataclasses

import numpy as np
import xarray as xr

from hardpan.core.arrays import Bools
from hardpan.pan.readings import Readings


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
