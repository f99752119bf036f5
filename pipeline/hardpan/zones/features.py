"""What makes cells alike: the pan's depth and strength, where there is one, the clay and the covariates."""

import numpy as np
import xarray as xr

from hardpan.core.arrays import Floats, Ints
from hardpan.records.surfaces import Surfaces

DECIMALS = 6
"""Features are rounded here, so that the last bits of a threaded matrix product cannot move a cell between zones."""


def cell_features(surfaces: Surfaces, covariates: xr.Dataset, cells: Ints) -> Floats:
    """Give standardised features of cells (flat indices) of one soil type, shape (n_cells, n_features).

    Each is centred, and divided by the root of its spread plus its mean prediction variance, so a map that is mostly
    uncertain weighs little. Depth and strength count by the probability that there is a pan at all. A missing value is
    taken as the mean; a feature that does not vary is left out. At least one column is given (zeros if nothing varies).
    """
    maps = {str(name): values.to_numpy().ravel()[cells] for name, values in surfaces.maps.data_vars.items()}
    presence = np.nan_to_num(maps["pan_probability"])
    peak = maps["peak_kpa"]
    columns = [
        _scaled(presence, presence * (1.0 - presence), np.ones_like(presence)),
        _scaled(maps["pan_bottom_mm"], maps["pan_bottom_sd_mm"] ** 2, presence),
        _scaled(maps["pan_top_mm"], maps["pan_top_sd_mm"] ** 2, presence),
        _scaled(np.log(peak), (maps["peak_sd_kpa"] / peak) ** 2, presence),
    ]
    known = [maps["clay_depth_mm"], *(values.to_numpy().ravel()[cells] for values in covariates.data_vars.values())]
    columns += [_scaled(values, np.zeros_like(values), np.ones_like(values)) for values in known]
    varying = [column for column in columns if np.ptp(column) > 0]
    return np.asarray(np.stack(varying or columns[:1], axis=1).round(DECIMALS), dtype=np.float64)


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
