"""How many classes: by the money a further one is expected to save."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from sklearn.metrics import silhouette_samples

from hardpan.core.arrays import Floats, Ints
from hardpan.records.plan import Options

SILHOUETTE_CELLS = 1500
"""The silhouette is the mean over about so many cells, evenly spread; it is reported, not decided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Classes of one soil type for 1, 2, ... classes."""

    classes: list[Ints]
    """(n_cells,) each: class of each cell."""
    features: Floats
    """(n_cells, n_features)."""
    node: Ints
    """(n_cells,): node of each cell."""
    cell_ha: Floats
    """(n_cells,): area of each cell."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """Classes per soil type, and why."""

    counts: tuple[int, ...]
    indices: pd.DataFrame
    why: str


def worth_of(classes: Ints, node: Ints, cell_ha: Floats, options: Options) -> float:
    """Give the money expected when each class gets its best option; an option forbidden anywhere in it is out.

    Parameters
    ----------
    classes, node, cell_ha : (n_cells,)
        Class 0, 1, ..., node and area of each cell.
    """
    n_nodes = options.net.shape[0]
    area = np.bincount(classes * n_nodes + node, weights=cell_ha, minlength=(classes.max() + 1) * n_nodes)
    area = area.reshape(-1, n_nodes)
    forbidden = ~np.isfinite(options.net)
    net = area @ np.where(forbidden, 0.0, options.net)
    return float(np.where(area @ forbidden > 0, -np.inf, net).max(axis=1).sum())


def choose_counts(soils: list[Candidates], options: Options, count: int | None, most: int) -> Choice:
    """Give the classes per soil type that are worth most after `options.zone_cost` a zone.

    Every soil type has at least one. With `count` the total is fixed (as far as the soil types allow).
    """
    worth = [[worth_of(one, soil.node, soil.cell_ha, options) for one in soil.classes] for soil in soils]
    best = _best_shares(worth)
    totals = np.array(sorted(best))
    money = np.array([best[total][0] - options.zone_cost * (total - 1) for total in totals])
    money -= worth_of(
        np.zeros(sum(soil.node.size for soil in soils), dtype=np.int64),
        np.concatenate([soil.node for soil in soils]),
        np.concatenate([soil.cell_ha for soil in soils]),
        options,
    )
    tried = totals <= max(most, len(soils), count or 0)
    totals, money = totals[tried], money[tried]
    chosen = int(np.argmax(money)) if count is None else int(np.argmin(np.abs(totals - count)))
    indices = pd.DataFrame({"count": totals, "net_gain": money, "chosen": np.arange(totals.size) == chosen})
    shares = [best[total][1] for total in totals]
    indices.insert(1, "silhouette", [_silhouette(soils, share) for share in shares])
    indices.insert(2, "variance_reduction", [_variance_reduction(soils, share) for share in shares])
    return Choice(counts=shares[chosen], indices=indices, why=_why(indices, chosen, count, options.zone_cost))


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
    n_cells = sum(soil.node.size for soil in soils)
    total = 0.0
    for soil, count in zip(soils, counts, strict=True):
        sample = np.linspace(0, soil.node.size - 1, max(2, SILHOUETTE_CELLS * soil.node.size // n_cells)).astype(int)
        classes, features = soil.classes[count - 1][sample], soil.features[sample]
        if 1 < np.unique(classes).size < classes.size:
            total += float(silhouette_samples(features, classes).mean()) * soil.node.size / n_cells
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
    return 1.0 - within / total if total > 0 else 0.0


def _why(indices: pd.DataFrame, chosen: int, count: int | None, zone_cost: float) -> str:
    row = indices.iloc[chosen]
    gain = f"{row['net_gain']:,.0f}"
    if count is not None:
        return f"{row['count']} classes as set: expected to be worth {gain} more than one depth everywhere."
    following = indices.iloc[chosen + 1 :]
    text = f"{row['count']} classes are expected to be worth {gain} more than one depth everywhere"
    if following.empty:
        return f"{text}; more were not tried."
    less = row["net_gain"] - following["net_gain"].iloc[0]
    return f"{text}; a further one would lower that by {less:,.0f} (it costs {zone_cost:,.0f} in setting and turning)."
