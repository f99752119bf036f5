"""What classes are worth, and which of them are joined at the least loss."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.records.plan import Options

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

    @property
    def best(self) -> Floats:
        """Worth of each class under the best option allowed on it, (n_classes,)."""
        return np.asarray(np.where(self.excess_ha > NO_GROUND_HA, -np.inf, self.net).max(axis=1))


def takings_of(classes: Ints, node: Ints, cell_ha: Floats, options: Options) -> Takings:
    """Give the money of classes 0, 1, ... of cells with their node and area, arrays (n_cells,)."""
    n_nodes = options.net.shape[0]
    area_ha = np.bincount(classes * n_nodes + node, weights=cell_ha, minlength=(classes.max() + 1) * n_nodes)
    area_ha = area_ha.reshape(-1, n_nodes)
    allowed = np.isfinite(options.net)
    net: Floats = np.where(allowed, options.net, -options.cost)
    excess: Floats = np.where(allowed, -options.limit_slack, 1.0 - options.limit_slack)
    return Takings(net=area_ha @ net, excess_ha=area_ha @ excess)


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
    centre = np.stack([np.bincount(classes, weights=column) for column in features.T], axis=1) / size[:, None]
    number = np.arange(size.size)
    found = [(classes, float(takings.best.sum()))]
    while size.size > 1:
        one, other = np.triu_indices(size.size, k=1)
        together = Takings(
            net=takings.net[one] + takings.net[other],
            excess_ha=takings.excess_ha[one] + takings.excess_ha[other],
        )
        loss = takings.best[one] + takings.best[other] - together.best
        apart = np.linalg.norm(centre[one] - centre[other], axis=1)
        pick = np.lexsort((other, one, apart, loss.round(CENTS)))[0]
        kept, gone = one[pick], other[pick]
        weight = size[[kept, gone]]
        centre[kept] = weight @ centre[[kept, gone]] / weight.sum()
        size[kept] = weight.sum()
        net, excess_ha = takings.net.copy(), takings.excess_ha.copy()
        net[kept], excess_ha[kept] = together.net[pick], together.excess_ha[pick]
        left = np.arange(size.size) != gone
        takings = Takings(net=net[left], excess_ha=excess_ha[left])
        size, centre = size[left], centre[left]
        number = np.where(number == gone, kept, number)
        number -= number > gone
        found.append((number[classes], float(takings.best.sum())))
    return found[::-1]
