"""What a paddock adds to sums over paddocks: each total of its ledger in draws, what it shares with others apart."""

from collections.abc import Mapping
from dataclasses import dataclass

from hardpan.core.arrays import Floats

ALL_PADDOCKS = "all paddocks"
"""In the column `paddock` of sums: all together."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Total:
    """One item of the ledger over a whole paddock."""

    quantity: float
    unit: str
    amount: float
    """Expected money."""
    low: float
    high: float
    """5 and 95 % points of the money."""
    shared: Floats
    """Money that follows what all paddocks have in common, prices and response, (n_draws,)."""
    own: Floats
    """The rest of the money, which follows the paddock's own readings, (n_draws,); mean 0."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Totals:
    """All items of the ledger over a whole paddock."""

    items: Mapping[str, Total]
    currency: str
    seed: int
    """Of the draws: draw k of two paddocks is of the same prices where seed and number of draws are the same."""

    @property
    def n_draws(self) -> int:
        """Number of draws; 0 without any item."""
        return next((one.shared.size for one in self.items.values()), 0)
