"""What classes are worth, and which of them are joined at the least loss."""

from dataclasses import dataclass, replace

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.records.options import Options

NO_GROUND_HA = 1e-9
"""Less ground than this is rounding."""
CENTS = 2
"""Losses are compared to the cent; what is left of equal ones is rounding, and the likest classes join first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Takings:
    """Money of classes under every option, arrays (n_classes, n_options)."""

    net: Floats
    """Expected net return; ground where the option is forbidden costs and gains nothing."""
    excess_ha: Floats
    """Ground where the option is forbidden, less what the slack of the limits lets pass."""
    short_ha: Floats
    """Ground whose pan the option does not pass below, less what may stay so; nothing is asked under `return`."""

    @property
    def best(self) -> Floats:
        """Worth of each class under the best option that is allowed and does what is asked, (n_classes,).

        Where none does what is asked, under the one that comes nearest.
        """
        allowed = self.excess_ha <= NO_GROUND_HA
        short_ha = np.where(allowed, np.maximum(self.short_ha, 0.0), np.inf)
        nearest = short_ha <= short_ha.min(axis=1, keepdims=True) + NO_GROUND_HA
        return np.asarray(np.where(allowed & nearest, self.net, -np.inf).max(axis=1))

    def joined(self, members: Floats) -> "Takings":
        """Give the takings of joined classes; `members` (n_joined, n_classes) is 1 where a class belongs."""
        return Takings(net=members @ self.net, excess_ha=members @ self.excess_ha, short_ha=members @ self.short_ha)


def fitted_only(options: Options) -> Options:
    """Give the options with those of set-ups that will not be fitted forbidden everywhere."""
    return replace(options, net=np.where(options.fitted, options.net, -np.inf)) if options.fitted.size else options


def takings_of(classes: Ints, node: Ints, cell_ha: Floats, options: Options) -> Takings:
    """Give the money of classes 0, 1, ... of cells with their node and area, arrays (n_cells,)."""
    n_nodes = options.net.shape[0]
    area_ha = np.bincount(classes * n_nodes + node, weights=cell_ha, minlength=(classes.max() + 1) * n_nodes)
    area_ha = area_ha.reshape(-1, n_nodes)
    allowed = np.isfinite(options.net)
    net: Floats = np.where(allowed, options.net, -options.cost)
    excess: Floats = np.where(allowed, -options.limit_slack, 1.0 - options.limit_slack)
    short: Floats = np.zeros(net.shape) if options.cover_share is None else options.cover_share - options.covered
    return Takings(net=area_ha @ net, excess_ha=area_ha @ excess, short_ha=area_ha @ short)


def worth_of(classes: Ints, node: Ints, cell_ha: Floats, options: Options) -> float:
    """Give the money expected when each class gets its best option allowed on it."""
    return float(takings_of(classes, node, cell_ha, options).best.sum())


def joined_by_money(classes: Ints, features: Floats, takings: Takings) -> list[tuple[Ints, float]]:
    """Give 1, 2, ... classes with their worth: all classes, and fewer by joining, each time, the two that lose least.

    Parameters
    ----------
    classes : (n_cells,)
        Class 0, 1, ... of each cell.
    features : (n_cells, n_features)
        What makes cells alike; of equal losses the classes of nearest mean join.
    """
    size = np.bincount(classes).astype(float)
    totals = np.stack([np.bincount(classes, weights=column) for column in features.T], axis=1)
    number = np.arange(size.size)
    found = [(classes, float(takings.best.sum()))]
    for count in range(size.size, 1, -1):
        members = np.eye(count)[number].T
        now, centre = takings.joined(members), members @ totals / (members @ size)[:, None]
        one, other = np.triu_indices(count, k=1)
        pairs = np.eye(count)[one] + np.eye(count)[other]
        loss = now.best[one] + now.best[other] - now.joined(pairs).best
        apart = np.linalg.norm(centre[one] - centre[other], axis=1)
        pick = np.lexsort((other, one, apart, loss.round(CENTS)))[0]
        number = np.where(number == other[pick], one[pick], number)
        number -= number > other[pick]
        found.append((number[classes], float(takings.joined(np.eye(count - 1)[number].T).best.sum())))
    return found[::-1]
