"""What breaking the pan is worth, and what the pass costs, draw by draw."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Floats

F32 = NDArray[np.float32]
"""Draws are worked in single precision: their own error is far larger, and it halves memory."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Totals:
    """Expectations over draws by node, and sums over nodes by draw."""

    gain: Floats
    """(n_nodes, n_options): expected worth per ha of what is broken."""
    loosened: Floats
    """(n_nodes, n_options): expected share of the pan's excess broken where there is a pan; 0 where there never is."""
    summed: Floats
    """(n_draws, n_options): worth on all the nodes' ground, money."""


def total_up(excess: F32, weights: Floats, *, worth: F32, present: F32, ha: Floats) -> Totals:
    """Give the totals of nodes that share one reach.

    Parameters
    ----------
    excess : (n_nodes, n_draws, n_grid)
        Cumulated excess resistance against depth.
    weights : (n_grid, n_options)
        What turns it into the share broken by each option.
    worth, present : (n_nodes, n_draws)
        Worth per ha of breaking the whole pan, 0 where there is none; 1 where there is a pan.
    ha : (n_nodes,)
        Area of each node.
    """
    # the share broken is linear in the excess, so draws and nodes are summed before the options multiply the work;
    # einsum, because it gives the same bits whatever the number of threads
    ever = np.maximum(present.sum(axis=1, keepdims=True), np.float32(1.0))
    gain = np.einsum("nk,nkg->ng", worth / np.float32(worth.shape[1]), excess)
    loosened = np.einsum("nk,nkg->ng", present / ever, excess)
    summed = np.einsum("nk,nkg->kg", worth * ha[:, None].astype(np.float32), excess)
    broken = [np.einsum("ng,go->no", sums.astype(float), weights) for sums in (gain, loosened, summed)]
    return Totals(gain=broken[0], loosened=broken[1], summed=broken[2])


def reach_probability(end_mm: F32, depth_mm: Floats) -> Floats:
    """Give the share of draws in which each depth reaches `end_mm`, (n_nodes, n_options).

    Parameters
    ----------
    end_mm : (n_draws, n_nodes)
        Depth to reach; -inf where there is no pan.
    depth_mm : (n_options,)
    """
    depths, which = np.unique(depth_mm, return_inverse=True)
    return np.stack([(end_mm <= np.float32(depth)).mean(axis=0) for depth in depths], axis=1)[:, which]


def cost_per_ha(
    hours: Floats, litres: Floats, wear: Floats, *, per_hour: Floats, per_litre: Floats, wear_per_ha: Floats
) -> Floats:
    """Give the cost of a pass, money per ha, shape (..., n_draws, n_options).

    Parameters
    ----------
    hours, litres : (..., n_draws, n_options)
        Per ha.
    wear : (..., 1, n_options)
        Wear relative to a plain tine at the reference depth.
    per_hour, per_litre, wear_per_ha : (n_draws,)
    """
    return hours * per_hour[:, None] + litres * per_litre[:, None] + wear * wear_per_ha[:, None]


def credit_draws(span: Floats, n_draws: int) -> Floats:
    """Give draws of a factor with low end, value and high end `span` of shape (n, 3): (n_draws, n), mean `value`."""
    drawn = along_span(span, n_draws, np.sqrt(2.0))
    return np.asarray(drawn + span[:, 1] - drawn.mean(axis=0))


def along_span(span: Floats, n_draws: int, step: float) -> Floats:
    """Give draws (n_draws, n) between low end, value and high end `span` of shape (n, 3), half below the value.

    Straight from end to value to end, at the points of a sequence with an irrational step: evenly spread, the same
    whatever the seed, and unrelated to draws of another irrational step.
    """
    at = np.modf(0.5 + np.arange(n_draws) * step)[0][:, None]
    low, value, high = span.T
    drawn = np.where(at < 0.5, low + (value - low) * 2.0 * at, value + (high - value) * (2.0 * at - 1.0))
    return np.asarray(drawn)
