"""Root growth that a pan takes, and how much of it a loosened section gives back."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Floats
from hardpan.options.loosening import GRID_STEP_MM, cumulated_excess, depth_grid_mm, share_by_step, step_weights
from hardpan.records.soils import Response

F32 = NDArray[np.float32]
"""Draws are worked in single precision: their own error is far larger, and it halves memory."""
"""Draws are worked in single precision."""

PEAK_STEP_KPA = 50.0
"""Step of the table of lost growth by peak, linear between: its error is far below that of any peak."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RootLoss:
    """Root growth that pans of one shape take, by their peak."""

    shape: Floats
    """Lost growth against relative depth in the usual pan, at equal steps; sums to 1."""
    peak_kpa: Floats
    """(n,), rising."""
    lost_share: Floats
    """(n,): mean share of root growth lost between top and bottom of a pan with that peak."""
    reference_mm: float
    """Lost growth of the reference pan, share x mm."""

    def relative(self, top_mm: F32, bottom_mm: F32, peak_kpa: F32) -> F32:
        """Growth that pans take over what the reference pan takes; as the arguments."""
        return np.asarray(self._share(peak_kpa) * (bottom_mm - top_mm) / self.reference_mm, dtype=np.float32)

    def _share(self, peak_kpa: F32) -> Floats:
        """Mean share lost at each peak: `np.interp` by the equal steps of the table, without its search."""
        known, share = self.peak_kpa, self.lost_share
        slope = np.append(np.diff(share) / np.diff(known), 0.0)
        peak = np.clip(np.asarray(peak_kpa, dtype=float), known[0], known[-1])
        below = (np.fmax(peak - known[0], 0.0) / PEAK_STEP_KPA).astype(np.intp)
        return np.asarray(slope[below] * (peak - known[below]) + share[below])


def lost_growth(cone_index_kpa: Floats | float, response: Response) -> Floats:
    """Share of root growth lost at a cone index: 0 where roots grow freely, 1 where they are stopped, straight between.

    Examples
    --------
    With 1000 and 3000 kPa as ends, half is lost at 2000 kPa.
    """
    free, stopped = response.free_below.value, response.stopped_above.value
    return np.clip((np.asarray(cone_index_kpa, dtype=float) - free) / (stopped - free), 0.0, 1.0)


def used_share(loose_share: Floats, saturation: float) -> Floats:
    """Share of a depth that roots use where `loose_share` of the width between tines is loosened.

    >>> used_share(np.array([0.0, 0.2, 1.0]), 0.2).round(3).tolist()
    [0.0, 0.636, 1.0]
    """
    return np.asarray(np.expm1(-loose_share / saturation) / np.expm1(-1.0 / saturation))


def root_loss(excess_shape: Floats, threshold_kpa: float, usual_peak_kpa: float, response: Response) -> RootLoss:
    """Root growth that pans take whose excess over `threshold_kpa` has the shape `excess_shape`.

    The cone index at a relative depth is the threshold and, of what the peak exceeds it by, the excess there over the
    largest. Where the shape is not known (a sum of 0) it is flat.

    Parameters
    ----------
    usual_peak_kpa : float
        Peak whose shape of lost growth stands for all pans; not finite: that of the reference.
    """
    shape = np.nan_to_num(np.clip(np.asarray(excess_shape, dtype=float), 0.0, None))
    if shape.size == 0 or shape.max() <= 0:
        shape = np.ones(1)
    shape = shape / shape.max()
    reference = response.reference
    usual = usual_peak_kpa if np.isfinite(usual_peak_kpa) else reference.peak.value
    peaks = threshold_kpa + np.arange(0.0, 1e4, PEAK_STEP_KPA)
    profiles = threshold_kpa + (peaks[:, None] - threshold_kpa) * shape
    thickness_mm, edge = reference.bottom.value - reference.top.value, reference.threshold.value
    return RootLoss(
        shape=lost_growth(threshold_kpa + (usual - threshold_kpa) * shape, response),
        peak_kpa=peaks,
        lost_share=lost_growth(profiles, response).mean(axis=1),
        reference_mm=thickness_mm * float(lost_growth(edge + (reference.peak.value - edge) * shape, response).mean()),
    )


def using_weights(
    grid_mm: Floats, section: Mapping[str, Floats], saturation: float, kept: Floats | float = 1.0
) -> Floats:
    """Matrix that turns cumulated loss into the share of it that the crop has back: `cumulated_excess(...) @ weights`.

    Parameters
    ----------
    grid_mm : (n_grid,)
    section : arrays of shape (n_options,)
        As for `loosening.breaking_weights`.
    saturation : float
        Of `used_share`.
    kept : (n_grid - 1,)
        Of `dry_kept`.

    Returns
    -------
    (n_grid, n_options)

    Notes
    -----
    The sum over the steps of the grid of the used share, a mean of two points each, times the loss within the step.
    """
    used = used_share(share_by_step(grid_mm, section), saturation).mean(axis=1)
    return step_weights(used * np.reshape(kept, (-1, 1)))


def dry_kept(grid_mm: Floats, moist_mm: float, dry_loosened: float) -> Floats:
    """Loosening in each step of the grid over that of moist soil, (n_grid - 1,): less than 1 below the moist depth."""
    return np.where(grid_mm[:-1] + GRID_STEP_MM / 2.0 > moist_mm, dry_loosened, 1.0)


def reference_share(loss: RootLoss, section: Mapping[str, Floats], saturation: float, response: Response) -> float:
    """Share of the reference pan's lost growth that the reference rip, of shape `section`, gives back."""
    grid = depth_grid_mm(float(section["depth_mm"].max()))
    edges = [
        np.array([end], dtype=np.float32) for end in (response.reference.top.value, response.reference.bottom.value)
    ]
    return float(
        (cumulated_excess(edges[0], edges[1], loss.shape, grid) @ using_weights(grid, section, saturation))[0, 0]
    )
