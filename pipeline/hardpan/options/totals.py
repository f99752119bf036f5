"""What is broken, and worth what, by node and by draw."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Floats
from hardpan.options.loosening import breaking_weights, share_by_step, step_weights
from hardpan.options.response import dry_kept, using_weights
from hardpan.options.sections import Section

F32 = NDArray[np.float32]
"""Draws are worked in single precision: their own error is far larger, and it halves memory."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Totals:
    """Expectations over draws by node, and sums over nodes by draw."""

    gain: Floats
    """(n_nodes, n_options): expected worth per ha of what is broken."""
    loosened: Floats
    """(n_nodes, n_options): expected share of the root growth the pan takes that lies in broken soil, where there is a
    pan; 0 where there never is."""
    summed: Floats
    """(n_draws, n_options): worth on all the nodes' ground, money."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnSection:
    """Sections of all options in some of the draws, and how the crop responds to them."""

    section: Section
    saturation: float
    """Of `response.used_share`."""
    dry_loosened: float
    """Of `response.dry_kept`."""
    reference: float
    """Share of the reference pan's lost growth that the reference rip gives back."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """What cumulated loss on a grid of depths is multiplied by."""

    broken: Floats
    """(n_grid, n_options): to the share of the loss in broken soil."""
    used: Floats
    """(n_groups, n_grid, n_options): to the share the crop has back, over that after the reference rip."""


def weights_of(
    section: Section, drawn: Sequence[DrawnSection], grid_mm: Floats, *, reach_mm: float, moist_mm: float
) -> Weights:
    """Weights of cumulated loss on ground where tines gain nothing below `reach_mm` and less below `moist_mm`."""
    used = [
        using_weights(
            grid_mm, _reached(each.section, reach_mm), each.saturation, dry_kept(grid_mm, moist_mm, each.dry_loosened)
        )
        / each.reference
        for each in drawn
    ]
    reached = _reached(section, reach_mm)
    broken = breaking_weights(grid_mm, reached)
    if np.isfinite(moist_mm):
        kept = dry_kept(grid_mm, moist_mm, float(np.mean([each.dry_loosened for each in drawn])))
        broken = step_weights(share_by_step(grid_mm, reached).mean(axis=1) * kept[:, None])
    return Weights(broken=broken, used=np.stack(used))


def _reached(section: Section, reach_mm: float) -> Section:
    """Sections of tines that below `reach_mm` gain nothing, and so count as working no deeper."""
    return {**section, "depth_mm": np.minimum(section["depth_mm"], reach_mm)}


def total_up(excess: F32, weights: Weights, *, worth: F32, present: F32, ha: Floats) -> Totals:
    """Totals of nodes that share one reach.

    Parameters
    ----------
    excess : (n_nodes, n_draws, n_grid)
        Share of the loss of root growth that lies above each depth.
    worth, present : (n_nodes, n_draws)
        Worth per ha of the pan's lost growth, 0 where there is none; 1 where there is a pan.
    ha : (n_nodes,)
        Area of each node.
    """
    # what the crop has back is linear in the cumulated loss, so draws and nodes are summed before the options multiply
    # the work; einsum, because it gives the same bits whatever the number of threads
    ever = np.maximum(present.sum(axis=1, keepdims=True), np.float32(1.0))
    by_node = np.einsum("nk,nkg->ng", worth / np.float32(worth.shape[1]), excess).astype(float)
    loosened = np.einsum("nk,nkg->ng", present / ever, excess).astype(float)
    by_draw = np.einsum("nk,nkg->kg", worth * ha[:, None].astype(np.float32), excess).astype(float)
    mean = weights.used.mean(axis=0)
    return Totals(
        gain=np.einsum("ng,go->no", by_node, mean),
        loosened=np.einsum("ng,go->no", loosened, weights.broken),
        summed=_summed(by_draw, weights.used, mean),
    )


def _summed(by_draw: Floats, used: Floats, mean: Floats) -> Floats:
    """What is had back in each draw, with the section of its group, (n_draws, n_options).

    Sections do not depend on the pan, so the expectation is that of every draw with every section: what the few draws
    of a group are off it by is taken out, and the order of the draws changes nothing expected.
    """
    summed = np.empty((by_draw.shape[0], used.shape[2]))
    for group, weights in enumerate(used):
        draws = np.s_[group :: len(used)]
        summed[draws] = np.einsum("kg,go->ko", by_draw[draws], weights)
    expected = np.einsum("g,go->o", by_draw.mean(axis=0), mean)
    return np.asarray(summed + expected - summed.mean(axis=0))
