"""What classes are worth, and which of them are joined at the least loss."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.records.plan import Options

CENTS = 2
"""Losses are compared to the cent; what is left of equal ones is rounding, and the likest classes join first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Takings:
    """Money of classes under every option, arrays (n_classes, n_options)."""

    net: Floats
    """Expected net return where the option is allowed."""
    forbidden_ha: Floats
    """Ground where it is not."""

    @property
    def best(self) -> Floats:
        """Worth of each class under the best option allowed on all of it, (n_classes,)."""
        return np.asarray(np.where(self.forbidden_ha > 0, -np.inf, self.net).max(axis=1))


def takings_of(classes: Ints, node: Ints, cell_ha: Floats, options: Options) -> Takings:
    """Give the money of classes 0, 1, ... of cells with their node and area, arrays (n_cells,)."""
    n_nodes = options.net.shape[0]
    area_ha = np.bincount(classes * n_nodes + node, weights=cell_ha, minlength=(classes.max() + 1) * n_nodes)
    area_ha = area_ha.reshape(-1, n_nodes)
    allowed = np.isfinite(options.net)
    net: Floats = np.where(allowed, options.net, 0.0)
    forbidden: Floats = np.where(allowed, 0.0, 1.0)
    return Takings(net=area_ha @ net, forbidden_ha=area_ha @ forbidden)


def worth_of(classes: Ints, node: Ints, cell_ha: Floats, options: Options) -> float:
    """Give the money expected when each class gets its best option; one forbidden anywhere in it is out."""
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
            forbidden_ha=takings.forbidden_ha[one] + takings.forbidden_ha[other],
        )
        loss = takings.best[one] + takings.best[other] - together.best
        apart = np.linalg.norm(centre[one] - centre[other], axis=1)
        pick = np.lexsort((other, one, apart, loss.round(CENTS)))[0]
        kept, gone = one[pick], other[pick]
        weight = size[[kept, gone]]
        centre[kept] = weight @ centre[[kept, gone]] / weight.sum()
        size[kept] = weight.sum()
        net, forbidden_ha = takings.net.copy(), takings.forbidden_ha.copy()
        net[kept], forbidden_ha[kept] = together.net[pick], together.forbidden_ha[pick]
        left = np.arange(size.size) != gone
        takings = Takings(net=net[left], forbidden_ha=forbidden_ha[left])
        size, centre = size[left], centre[left]
        number = np.where(number == gone, kept, number)
        number -= number > gone
        found.append((number[classes], float(takings.best.sum())))
    return found[::-1]
