"""Where resistance crosses the threshold, from all readings near the crossing, and how well that is known."""

import numpy as np

from hardpan.core.arrays import Floats

_ROUNDS = 4  # the line moves by less than a millimetre after three on every shape of tests/pan/shapes.py


def locate_crossing(
    depth_mm: Floats,
    cone_index_kpa: Floats,
    start_mm: Floats,
    *,
    threshold_kpa: float,
    window_mm: Floats,
    noise_share: float,
) -> tuple[Floats, Floats]:
    """Give the depth at which a line through the readings near `start_mm` crosses the threshold, and its error.

    The line is fitted by least squares with weights that fall from 1 at the crossing to 0 at `window_mm`, and fitted
    again about the new crossing. Two readings alone would carry their whole error into the depth; the first or last
    of several crossings would make every pan too thick.

    Parameters
    ----------
    depth_mm, cone_index_kpa : Floats
        Packed readings, shape (n, sample), NaN padding.
    start_mm : Floats
        Shape (n,): the crossing between two readings.
    threshold_kpa : float
        The threshold.
    window_mm : Floats
        Shape (n,): reach of the weights.
    noise_share : float
        Standard deviation of a reading as a share of its value.

    Returns
    -------
    tuple of Floats
        Depth and its standard deviation, mm, shape (n,); the start itself where the readings give no slope.
    """
    value = np.nan_to_num(cone_index_kpa)
    crossing, error = start_mm.copy(), np.full(len(start_mm), np.nan)
    for _ in range(_ROUNDS):
        offset = depth_mm - crossing[:, None]
        weight = np.nan_to_num(np.clip(1.0 - np.abs(offset) / window_mm[:, None], 0.0, None))
        offset = np.nan_to_num(offset)
        total = np.maximum(weight.sum(axis=1), 1e-12)
        centre = (weight * offset).sum(axis=1) / total
        level = (weight * value).sum(axis=1) / total
        lever = weight * (offset - centre[:, None])
        spread = (lever * offset).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (lever * value).sum(axis=1) / spread
            move = centre + (threshold_kpa - level) / slope
        # A line that leaves the window has not found this crossing.
        found = np.isfinite(move) & (np.abs(crossing + move - start_mm) <= window_mm)
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = weight / total[:, None] + lever * ((move - centre) / spread)[:, None]
            sd = noise_share * threshold_kpa * np.sqrt((gain**2).sum(axis=1)) / np.abs(slope)
        crossing = np.where(found, crossing + move, crossing)
        error = np.where(found, sd, error)
    return crossing, error
