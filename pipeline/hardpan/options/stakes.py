"""What each option would return at each place in each draw of the pan, all else as expected."""

from dataclasses import dataclass, replace

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.options.economy import Economy
from hardpan.options.ground import Ground
from hardpan.options.loosening import cumulated_excess, depth_grid_mm
from hardpan.records.options import Options

MOST_DRAWS = 400
"""Draws of the pan that stakes are worked out in: memory grows with them, and expectations hardly change."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stakes:
    """What is at stake at each of m places in the choice of an option, money."""

    gain: Floats
    """(m, n_draws, n_options): gain over the place's ground, in expectation over all but the pan; 0 without a pan."""
    cost: Floats
    """(m, n_options): expected cost over the place's ground; infinite where the option is forbidden on some of it."""
    bottom_mm: Floats
    """(m, n_draws): mean bottom of the place's pan; NaN where it has none in the draw."""
    present: Floats
    """(m, n_draws): share of the place's ground that has a pan."""


def stakes_at(economy: Economy, options: Options, place_of_node: Ints) -> Stakes:
    """Stakes at places, of the options whose set-ups are fitted; the first is leaving.

    Over the draws they have the mean of `Options.net`: draws of money, sections and draft do not depend on the pan, so
    they are in by their expectation.
    """
    fitted = np.flatnonzero(options.fitted)
    ground = _fewer_draws(economy.ground)
    part = economy.narrow(fitted, np.arange(ground.ha.size), ground.ha)
    net, cost = options.net[:, fitted], options.cost[:, fitted]
    n_places, (n_draws, _) = int(place_of_node.max()) + 1, ground.present.shape
    gain = np.zeros((n_places, n_draws, fitted.size))
    grid = depth_grid_mm(float(part.section["depth_mm"].max(initial=0.0)))
    worth = part.worth.mean(axis=0)
    for nodes, weights in part.weighted_groups(grid):
        used = weights.used.mean(axis=0)
        top, bottom, present = ground.top_mm[:, nodes].T, ground.bottom_mm[:, nodes].T, ground.present[:, nodes].T
        lost = np.where(present, part.loss.relative(top, bottom, ground.peak_kpa[:, nodes].T), 0.0)
        back = cumulated_excess(top, bottom, part.loss.shape, grid).astype(float) @ used
        drawn = back * (lost * worth[ground.soil[nodes], None])[:, :, None]
        mean = drawn.mean(axis=1)
        wanted = np.where(np.isfinite(net[nodes]), net[nodes] + cost[nodes], 0.0)
        scale = np.divide(wanted, mean, out=np.zeros_like(mean), where=mean > 0)
        np.add.at(gain, place_of_node[nodes], drawn * (scale * ground.ha[nodes, None])[:, None, :])
    forbidden = ~np.isfinite(net) & (ground.ha > 0)[:, None]
    shares = _by_place(ground.present.T.astype(float) * ground.ha[:, None], place_of_node)
    depth = _by_place(np.where(ground.present, ground.bottom_mm, 0.0).T * ground.ha[:, None], place_of_node)
    return Stakes(
        gain=gain,
        cost=np.where(_by_place(forbidden.astype(float), place_of_node) > 0, np.inf,
                      _by_place(cost * ground.ha[:, None], place_of_node)),
        bottom_mm=np.divide(depth, shares, out=np.full_like(depth, np.nan), where=shares > 0),
        present=shares / np.maximum(_by_place(ground.ha[:, None], place_of_node), 1e-12),
    )  # fmt: skip


def _fewer_draws(ground: Ground) -> Ground:
    """Ground with some of its draws, evenly taken, where they are many."""
    step = -(-len(ground.present) // MOST_DRAWS)
    if step == 1:
        return ground
    names = ("present", "top_mm", "bottom_mm", "peak_kpa", "clay_draws_mm")
    return replace(ground, **{name: getattr(ground, name)[::step] for name in names})


def _by_place(values: Floats, place_of_node: Ints) -> Floats:
    """Sum over the nodes of each place, (m, ...), of values (n_nodes, ...)."""
    total = np.zeros((int(place_of_node.max()) + 1, *values.shape[1:]))
    np.add.at(total, place_of_node, values)
    return total
