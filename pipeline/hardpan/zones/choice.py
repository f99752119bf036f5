"""How many classes: by the money a further one is expected to save."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from sklearn.metrics import silhouette_samples

from hardpan.core.arrays import Floats, Ints

CENTS = 2
"""Money is compared to the cent, and of equal counts the lowest is taken."""
SILHOUETTE_CELLS = 1500
"""The silhouette is the mean over about so many cells, evenly spread; it is reported, not decided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Classes of one soil type for 1, 2, ... classes."""

    classes: list[Ints]
    """(n_cells,) each: class of each cell."""
    worth: list[float]
    """Money each of them is worth."""
    features: Floats
    """(n_cells, n_features)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """Classes per soil type, and why."""

    counts: tuple[int, ...]
    indices: pd.DataFrame
    why: str


def choose_counts(soils: list[Candidates], undivided: float, zone_cost: float, count: int | None, most: int) -> Choice:
    """Give the classes per soil type that are worth most after `zone_cost` a zone.

    Every soil type has at least one, so at least so many are tried. With `count` the total is fixed, as far as the soil
    types allow.

    Parameters
    ----------
    undivided : float
        Worth of the whole paddock as one zone, which the gains are counted from.
    most : int
        Most classes tried in all.
    """
    best = _best_shares([soil.worth for soil in soils])
    totals = np.array(sorted(total for total in best if total <= max(most, len(soils), count or 0)))
    gain = np.array([best[total][0] - zone_cost * (total - 1) for total in totals]) - undivided
    gain = gain.round(CENTS)
    chosen = int(np.argmax(gain)) if count is None else int(np.argmin(np.abs(totals - count)))
    shares = [best[total][1] for total in totals]
    indices = pd.DataFrame(
        {
            "count": totals,
            "silhouette": [_silhouette(soils, share) for share in shares],
            "variance_reduction": [_variance_reduction(soils, share) for share in shares],
            "net_gain": gain,
            "chosen": np.arange(totals.size) == chosen,
        }
    )
    return Choice(counts=shares[chosen], indices=indices, why=_why(indices, chosen, count, zone_cost))


def _best_shares(worth: list[list[float]]) -> dict[int, tuple[float, tuple[int, ...]]]:
    """Give, for each total of classes, the best sum of worths and the classes of each soil type that reach it."""
    best: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
    for row in worth:
        longer: dict[int, tuple[float, tuple[int, ...]]] = {}
        for total, (money, counts) in best.items():
            for extra, value in enumerate(row, start=1):
                if total + extra not in longer or money + value > longer[total + extra][0]:
                    longer[total + extra] = (money + value, (*counts, extra))
        best = longer
    return best


def _silhouette(soils: list[Candidates], counts: tuple[int, ...]) -> float:
    """Give the mean silhouette within soil types; cells of a soil type with one class count as 0."""
    n_cells = sum(len(soil.features) for soil in soils)
    total = 0.0
    for soil, count in zip(soils, counts, strict=True):
        n = len(soil.features)
        sample = np.linspace(0, n - 1, min(n, max(2, SILHOUETTE_CELLS * n // n_cells))).round().astype(np.int64)
        classes, features = soil.classes[count - 1][sample], soil.features[sample]
        if 1 < np.unique(classes).size < classes.size:
            total += float(silhouette_samples(features, classes).mean()) * n / n_cells
    return total


def _variance_reduction(soils: list[Candidates], counts: tuple[int, ...]) -> float:
    """Give the share of the features' variance within soil types that lies between classes."""
    within = total = 0.0
    for soil, count in zip(soils, counts, strict=True):
        classes, features = soil.classes[count - 1], soil.features
        n = np.maximum(np.bincount(classes), 1)
        total += float(((features - features.mean(axis=0)) ** 2).sum())
        for column in features.T:
            within += float((column**2).sum() - (np.bincount(classes, weights=column) ** 2 / n).sum())
    return max(0.0, 1.0 - within / total) if total > 0 else 0.0


def _why(indices: pd.DataFrame, chosen: int, count: int | None, zone_cost: float) -> str:
    row = indices.iloc[chosen]
    classes = "1 class is" if row["count"] == 1 else f"{row['count']} classes are"
    text = f"{classes} expected to be worth {row['net_gain']:,.0f} more than one depth everywhere"
    if count is not None:
        return f"{text}; the number was set."
    following = indices.iloc[chosen + 1 :]
    if following.empty:
        return f"{text}; more were not tried."
    less = row["net_gain"] - following["net_gain"].iloc[0]
    return f"{text}; a further one would lower that by {less:,.0f} (it costs {zone_cost:,.0f} in setting and turning)."
