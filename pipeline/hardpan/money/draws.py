"""Joint draws of quantities that have a range: levels in (0, 1), and the distribution that turns them into values.

Whatever is drawn beside the pan itself is drawn here: each of n draws has one of n equal slices. Money has them in an
order of its seed and name, so that one draw of a price goes with any draw of another. What the decision adds, draft,
the section a tine loosens and the gain with a set-up, has no seed: its order is fixed, so that options are compared
alike whatever the seed. The range of a mean is a beta distribution; ends that are published views of their own
(exponents of draft, gain with a set-up) are drawn as often as what lies between; +/- % of draft is log-normal.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.special import betaincinv, ndtri

from hardpan.core.arrays import Floats
from hardpan.records.quantity import Quantity

PERT_SHAPES = 6.0
"""Sum of the two beta shapes: that of PERT, whose mean is (low + 4 mode + high) / 6."""

MOST_SOLVED, TABLED = 10_000, 8000
"""Levels up to which each is solved for; of more they are read off a table, right to 2e-5 of the range."""

FIXED_STEPS = {
    "draft": (np.sqrt(5.0) - 1.0) / 2.0,
    "gain with a set-up": np.sqrt(2.0),
    "depth exponent of draft": np.sqrt(3.0),
    "strength exponent of draft": np.sqrt(7.0),
    "foot width": np.sqrt(41.0),
    "side angle": np.sqrt(43.0),
    "critical ratio": np.sqrt(61.0),
    "leading depth share": np.sqrt(79.0),
    "saturation": np.sqrt(97.0),
    "dry loosening": np.sqrt(167.0),
}
"""Irrational steps of the sequences that order what is drawn without a seed; two of them make unrelated sequences."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Draws of named quantities, shape (n_draws,); independent between names, unless told to have a part in common."""

    n_draws: int
    seed: int | None
    """None: in a fixed order, for the names of `FIXED_STEPS`."""
    made: dict[str, Floats] = field(default_factory=dict, compare=False)
    """What was drawn, by name."""

    def __call__(self, name: str, quantity: Quantity, *, of: str = "") -> Floats:
        """Draws of `quantity`, (n_draws,); those `of` several things by one name go together."""
        self.made[f"{name} {of}".strip()] = drawn = beta_at(quantity, self.levels(name))
        return drawn

    def levels(self, name: str) -> Floats:
        """Levels in (0, 1), (n_draws,), one in each of `n_draws` equal slices, so that a mean is near the true mean.

        >>> Draws(n_draws=4, seed=None).levels("side angle").tolist()
        [0.625, 0.125, 0.875, 0.375]
        """
        if self.seed is None:
            at = np.modf(0.5 + np.arange(self.n_draws) * FIXED_STEPS[name])[0]
            order = np.argsort(np.argsort(at, kind="stable"), kind="stable")
        else:
            order = np.random.default_rng([self.seed, *name.encode()]).permutation(self.n_draws)
        return np.asarray((order + 0.5) / self.n_draws)

    def between(self, name: str, ends: Floats) -> Floats:
        """Draws, (n_draws, n), of quantities whose ends are views of their own, by `value_at`; `ends` (n, 3)."""
        return value_at(ends, self.levels(name))

    def partly_common(self, name: str, quantity: Quantity, *, common: str, share: float) -> Floats:
        """Draws, (n_draws,), with `share` of their variance, on the normal scale, that of all draws with `common`."""
        mixed = np.sqrt(1.0 - share) * ndtri(self.levels(name)) + np.sqrt(share) * ndtri(self.levels(common))
        rank = np.argsort(np.argsort(mixed, kind="stable"), kind="stable")
        self.made[name] = drawn = beta_at(quantity, (rank + 0.5) / self.n_draws)
        return drawn


def beta_at(quantity: Quantity, levels: Floats) -> Floats:
    """Values of a quantity at `levels` in (0, 1): a beta distribution between low and high with mean `value`.

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
    drawn: Floats = low + (high - low) * _beta_quantiles(a, PERT_SHAPES - a, levels)
    return np.asarray(np.clip(drawn + quantity.value - drawn.mean(), low, high))


def _beta_quantiles(a: float, b: float, levels: Floats) -> Floats:
    """Inverse of the regularised incomplete beta function, which takes 2 microseconds a level to solve."""
    if levels.size <= MOST_SOLVED:
        return np.asarray(betaincinv(a, b, levels))
    # close together towards both ends, where the curve bends, and from the lowest level to the highest
    share = (1.0 - np.cos(np.linspace(0.0, np.pi, TABLED + 1))) / 2.0
    at = levels.min() + np.ptp(levels) * share
    return np.asarray(np.interp(levels, at, betaincinv(a, b, at)))


def value_at(ends: Floats, levels: Floats) -> Floats:
    """Quantities at `levels` (n_draws,), shape (n_draws, n): half the draws below the value, straight to either end.

    Parameters
    ----------
    ends : (n, 3)
        Low end, value and high end.

    >>> value_at(np.array([[0.0, 1.0, 3.0]]), np.array([0.0, 0.25, 0.5, 0.75]))[:, 0].tolist()
    [0.0, 0.5, 1.0, 2.0]
    """
    low, value, high = ends.T
    at = levels[:, None]
    drawn = np.where(at < 0.5, low + (value - low) * 2.0 * at, value + (high - value) * (2.0 * at - 1.0))
    return np.asarray(drawn)


def log_normal_factors(range_pct: float, levels: Floats) -> Floats:
    """Factors at `levels`, mean 1, of a log-normal whose 5 and 95 % points are 1 / (1 + range) and 1 + range.

    Those points hold before the factors are scaled to mean 1.
    """
    sigma = np.log1p(range_pct / 100.0) / ndtri(0.95)
    drawn = np.exp(sigma * ndtri(np.clip(levels, 1e-3, 1.0 - 1e-3)))
    return np.asarray(drawn / drawn.mean())
