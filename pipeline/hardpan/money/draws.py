"""Joint draws of quantities that have a range: the same name always gives the same draws."""

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, ndtri

from hardpan.core.arrays import Floats
from hardpan.records.quantity import Quantity

PERT_SHAPES = 6.0
"""Sum of the two beta shapes: that of PERT, whose mean is (low + 4 mode + high) / 6."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Draws of named quantities, shape (n_draws,); independent between names, unless told to have a part in common."""

    n_draws: int
    seed: int

    def __call__(self, name: str, quantity: Quantity) -> Floats:
        """Give draws of `quantity`."""
        return spread(quantity, self.levels(name))

    def levels(self, name: str) -> Floats:
        """Give levels in (0, 1) that hit each of `n_draws` equal slices once, so that a mean is near the true mean."""
        rng = np.random.default_rng([self.seed, *name.encode()])
        return (rng.permutation(self.n_draws) + 0.5) / self.n_draws

    def partly_common(self, name: str, quantity: Quantity, *, common: str, share: float) -> Floats:
        """Give draws of which `share` of the variance, on the normal scale, is that of all draws with `common`."""
        mixed = np.sqrt(1.0 - share) * ndtri(self.levels(name)) + np.sqrt(share) * ndtri(self.levels(common))
        rank = np.argsort(np.argsort(mixed, kind="stable"), kind="stable")
        return spread(quantity, (rank + 0.5) / self.n_draws)


def spread(quantity: Quantity, levels: Floats) -> Floats:
    """Give the quantity at `levels` in (0, 1): a beta distribution between low and high with mean `value`.

    Notes
    -----
    The shapes are a = 6 (value - low) / (high - low) and b = 6 - a: the width of PERT with the mean, not the mode, at
    the value, since sources state means. Rises with the level; the value itself where no range is stated.
    """
    low, high = quantity.span
    if low == high:
        return np.full_like(levels, quantity.value)
    # a value on the end of its range would leave no distribution
    a = PERT_SHAPES * np.clip((quantity.value - low) / (high - low), 0.01, 0.99)
    drawn: Floats = low + (high - low) * betaincinv(a, PERT_SHAPES - a, levels)
    return np.asarray(np.clip(drawn + quantity.value - drawn.mean(), low, high))
