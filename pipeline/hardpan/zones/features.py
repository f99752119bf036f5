"""What makes cells alike: the pan's depth and strength, where there is one, the clay and the covariates."""

import numpy as np
import xarray as xr

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.surfaces import Surfaces
from hardpan.spatial.regions import averaged

DECIMALS = 6
"""Features are rounded here, so that the last bits of a threaded matrix product cannot move a cell between zones."""


def cell_features(
    surfaces: Surfaces, covariates: xr.Dataset, source: Ints, cells: Bools, *, width_cells: int
) -> Floats:
    """Give standardised features of the cells of one soil type, shape (n_cells, n_features).

    Each is centred, and divided by the root of its spread plus its mean prediction variance, so a map that is mostly
    uncertain weighs little. Depth and strength count by the probability that there is a pan at all; a covariate as far
    as it goes along with the pan's depth. A missing value is taken as the mean. Features are means over the width the
    machine can follow. One that does not vary is left out; at least one column is given (zeros if nothing varies).

    Parameters
    ----------
    source : (n_rows, n_cols)
        Flat index of the cell each cell takes its values from.
    cells : (n_rows, n_cols)
        Cells of the soil type.
    """
    at = source[cells]
    maps = {str(name): values.to_numpy().ravel()[at] for name, values in surfaces.maps.data_vars.items()}
    presence = np.nan_to_num(maps["pan_probability"])
    peak = maps["peak_kpa"]
    sure, always = np.zeros(at.size), np.ones(at.size)
    bottom = _scaled(maps["pan_bottom_mm"], maps["pan_bottom_sd_mm"] ** 2, presence)
    columns = [
        _scaled(presence, presence * (1.0 - presence), always),
        bottom,
        _scaled(maps["pan_top_mm"], maps["pan_top_sd_mm"] ** 2, presence),
        _scaled(np.log(peak), (maps["peak_sd_kpa"] / peak) ** 2, presence),
        _scaled(maps["clay_depth_mm"], sure, always),
    ]
    for values in covariates.data_vars.values():
        column = _scaled(values.to_numpy().ravel()[at], sure, always)
        columns.append(column * _alikeness(column, bottom))
    means = [averaged(column, cells, width_cells).round(DECIMALS) for column in columns]
    varying = [mean for mean in means if np.ptp(mean) > 0]
    return np.stack(varying or [np.zeros(at.size)], axis=1)


def expected_bottom_mm(surfaces: Surfaces) -> Floats:
    """Give how deep the pan is expected to reach, 0 where there is none and outside, shape (n_rows, n_cols)."""
    bottom = np.nan_to_num(surfaces.maps["pan_bottom_mm"].to_numpy())
    return np.asarray(np.nan_to_num(surfaces.maps["pan_probability"].to_numpy()) * bottom)


def _scaled(values: Floats, variance: Floats, weight: Floats) -> Floats:
    read = np.isfinite(values) & (weight > 0)
    if not read.any():
        return np.zeros_like(weight)
    centre = np.average(values[read], weights=weight[read])
    spread = np.average((values[read] - centre) ** 2, weights=weight[read])
    scale = np.sqrt(spread + np.mean(np.nan_to_num(variance[read])))
    return np.where(read, weight * (values - centre) / scale, 0.0) if scale > 0 else np.zeros_like(weight)


def _alikeness(one: Floats, other: Floats) -> float:
    """Give the correlation's size, 0 where either does not vary."""
    scale = np.sqrt((one**2).sum() * (other**2).sum())
    return float(abs((one * other).sum()) / scale) if scale > 0 else 0.0
