"""What each option would return at each node, and how much more where the pan lies deeper."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Floats, Ints
from hardpan.options.economy import Economy
from hardpan.options.ground import Ground
from hardpan.options.loosening import cumulated_excess, depth_grid_mm
from hardpan.records.options import Options

MOST_DRAWS = 100
"""Draws of the pan that slopes are worked out in: they are summed over many nodes, which evens them out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stakes:
    """What is at stake at each node in the choice among the options whose set-ups are fitted, money per ha.

    Arrays (n_nodes, n_fitted) unless another shape is given; the first option is leaving.
    """

    option: Ints
    """(n_fitted,): place of each in `Options.table`."""
    gain: Floats
    """Expected gain, which has that of the set-up in it; 0 where the option is forbidden."""
    slope: Floats
    """Expected rise of the gain for each mm by which the bottom lies deeper."""
    cost: Floats
    """Expected cost."""
    chance: Floats
    """(n_nodes,) of a pan."""


def stakes_at(economy: Economy, options: Options) -> Stakes:
    """Stakes at every node, all but the pan as expected.

    Parameters
    ----------
    economy : Economy
        Of the fitted options alone.

    Notes
    -----
    Where the bottom B is about normal and its expectation moves by m, the expectation of a gain g(B) moves by m E[g'],
    and E[g'] = cov(g, B) / var(B) (Stein's lemma): the slope of the regression of gain on bottom over the draws. What
    goes along with a deeper bottom, a harder pan for one, is in it.
    """
    fitted = np.flatnonzero(options.fitted)
    ground, grid = _fewer_draws(economy.ground), depth_grid_mm(float(economy.section["depth_mm"].max(initial=0.0)))
    worth = economy.worth.mean(axis=0)
    gain, slope = np.zeros((2, ground.ha.size, fitted.size))
    for nodes, weights in replace(economy, ground=ground).weighted_groups(grid):
        used = weights.used.mean(axis=0)
        top, bottom, present = ground.top_mm[:, nodes].T, ground.bottom_mm[:, nodes].T, ground.present[:, nodes].T
        lost = np.where(present, economy.loss.relative(top, bottom, ground.peak_kpa[:, nodes].T), np.float32(0.0))
        excess = cumulated_excess(top, bottom, economy.loss.shape, grid)
        weight = _regression(np.where(present, bottom, np.nan))
        per_ha = worth[ground.soil[nodes], None] / len(ground.present)
        gain[nodes] = per_ha * (np.einsum("nk,nkg->ng", lost, excess).astype(float) @ used)
        slope[nodes] = per_ha * (np.einsum("nk,nkg->ng", lost * weight, excess).astype(float) @ used)
    net, cost = options.net[:, fitted], options.cost[:, fitted]
    credited = np.where(np.isfinite(net), net + cost, 0.0)
    scale = np.divide(credited, gain, out=np.zeros_like(gain), where=gain > 0)
    return Stakes(
        option=fitted, gain=credited, slope=slope * scale, cost=cost, chance=economy.ground.present.mean(axis=0)
    )


def _regression(bottom_mm: NDArray[np.float32]) -> NDArray[np.float32]:
    """Weights (n, k) that make of values at k draws their slope on the bottom, 0 at draws without a pan."""
    there = np.isfinite(bottom_mm)
    mean = np.nan_to_num(bottom_mm).sum(axis=1, keepdims=True) / np.maximum(there.sum(axis=1, keepdims=True), 1)
    off = np.where(there, bottom_mm - mean, 0.0)
    variance = (off**2).sum(axis=1, keepdims=True) / np.maximum(there.sum(axis=1, keepdims=True), 1)
    return np.asarray(np.divide(off, variance, out=np.zeros_like(off), where=variance > 0), dtype=np.float32)


def _fewer_draws(ground: Ground) -> Ground:
    """Ground with some of its draws, evenly taken, where they are many."""
    step = -(-len(ground.present) // MOST_DRAWS)
    return ground.in_draws(slice(None, None, step))
