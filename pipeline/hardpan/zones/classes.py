"""What classes are worth, which of them are joined at the least loss, and how many are drawn."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.records.advice import CountReason
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.options import Options

NO_GROUND_HA = 1e-9
"""Less ground than this is rounding."""
CENTS = 2
"""Money is compared to the cent: of equal losses the likest classes join, of equal counts the lowest is taken."""
SILHOUETTE_CELLS = 1500
"""The silhouette is the mean over about so many cells, evenly spread; it is reported, not decided by."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClassValue:
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

    def joined(self, members: Floats) -> "ClassValue":
        """Value of joined classes; `members` (n_joined, n_classes) is 1, or its area in ha, where a class belongs."""
        return ClassValue(net=members @ self.net, excess_ha=members @ self.excess_ha, short_ha=members @ self.short_ha)


def fitted_only(options: Options) -> Options:
    """Options with those of set-ups that will not be fitted forbidden everywhere."""
    return replace(options, net=np.where(options.fitted, options.net, -np.inf))


def node_value(options: Options, asked: PrescriptionSettings) -> ClassValue:
    """Money of a hectare of each node under every option, arrays (n_nodes, n_options)."""
    allowed, share = np.isfinite(options.net), asked.share_to_cover
    return ClassValue(
        net=np.where(allowed, options.net, -options.cost),
        excess_ha=np.where(allowed, -asked.limit_slack, 1.0 - asked.limit_slack),
        short_ha=np.zeros(allowed.shape) if share is None else share - options.covered,
    )


def class_value(classes: Ints, node: Ints, cell_ha: Floats, per_ha: ClassValue) -> ClassValue:
    """Money of classes 0, 1, ... of cells with their node and area, arrays (n_cells,); `per_ha` of each node."""
    n_nodes = len(per_ha.net)
    area_ha = np.bincount(classes * n_nodes + node, weights=cell_ha, minlength=(classes.max() + 1) * n_nodes)
    return per_ha.joined(area_ha.astype(float).reshape(-1, n_nodes))


def worth_of(classes: Ints, node: Ints, cell_ha: Floats, per_ha: ClassValue) -> float:
    """Money expected when each class gets its best option allowed on it."""
    return float(class_value(classes, node, cell_ha, per_ha).best.sum())


def joined_by_money(classes: Ints, features: Floats, value: ClassValue) -> list[tuple[Ints, float]]:
    """1, 2, ... classes with their worth: all classes, and fewer by joining, each time, the two that lose least.

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
    found = [(classes, float(value.best.sum()))]
    for count in range(size.size, 1, -1):
        members = np.eye(count)[number].T
        now, centre = value.joined(members), members @ totals / (members @ size)[:, None]
        one, other = np.triu_indices(count, k=1)
        pairs = np.eye(count)[one] + np.eye(count)[other]
        loss = now.best[one] + now.best[other] - now.joined(pairs).best
        apart = np.linalg.norm(centre[one] - centre[other], axis=1)
        pick = np.lexsort((other, one, apart, loss.round(CENTS)))[0]
        number = np.where(number == other[pick], one[pick], number)
        number -= number > other[pick]
        found.append((number[classes], float(value.joined(np.eye(count - 1)[number].T).best.sum())))
    return found[::-1]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoilClasses:
    """Classes of one soil type for 1, 2, ... classes."""

    classes: list[Ints]
    """(n_cells,) each: class of each cell."""
    worth: list[float]
    """Money each of them is worth."""
    features: Floats
    """(n_cells, n_features)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClassCounts:
    """Classes per soil type, and why so many."""

    counts: tuple[int, ...]
    indices: pd.DataFrame
    reason: CountReason


def choose_counts(
    soils: list[SoilClasses], undivided: float, zone_cost: float, count: int | None, most: int
) -> ClassCounts:
    """Classes per soil type that are worth most after `zone_cost` a zone.

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
    return ClassCounts(counts=shares[chosen], indices=indices, reason=_reason(indices, chosen, count, zone_cost))


def _best_shares(worth: list[list[float]]) -> dict[int, tuple[float, tuple[int, ...]]]:
    """Best sum of worths for each total of classes, and the classes of each soil type that reach it."""
    best: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
    for row in worth:
        longer: dict[int, tuple[float, tuple[int, ...]]] = {}
        for total, (money, counts) in best.items():
            for extra, value in enumerate(row, start=1):
                if total + extra not in longer or money + value > longer[total + extra][0]:
                    longer[total + extra] = (money + value, (*counts, extra))
        best = longer
    return best


def _silhouette(soils: list[SoilClasses], counts: tuple[int, ...]) -> float:
    """Mean silhouette within soil types; cells of a soil type with one class count as 0."""
    from sklearn.metrics import silhouette_samples

    n_cells = sum(len(soil.features) for soil in soils)
    total = 0.0
    for soil, count in zip(soils, counts, strict=True):
        n = len(soil.features)
        sample = np.linspace(0, n - 1, min(n, max(2, SILHOUETTE_CELLS * n // n_cells))).round().astype(np.int64)
        classes, features = soil.classes[count - 1][sample], soil.features[sample]
        if 1 < np.unique(classes).size < classes.size:
            total += float(silhouette_samples(features, classes).mean()) * n / n_cells
    return total


def _variance_reduction(soils: list[SoilClasses], counts: tuple[int, ...]) -> float:
    """Share of the features' variance within soil types that lies between classes."""
    within = total = 0.0
    for soil, count in zip(soils, counts, strict=True):
        classes, features = soil.classes[count - 1], soil.features
        n = np.maximum(np.bincount(classes), 1)
        total += float(((features - features.mean(axis=0)) ** 2).sum())
        for column in features.T:
            within += float((column**2).sum() - (np.bincount(classes, weights=column) ** 2 / n).sum())
    return max(0.0, 1.0 - within / total) if total > 0 else 0.0


def _reason(indices: pd.DataFrame, chosen: int, count: int | None, zone_cost: float) -> CountReason:
    row, following = indices.iloc[chosen], indices.iloc[chosen + 1 :]
    further = float("nan") if following.empty else float(row["net_gain"] - following["net_gain"].iloc[0])
    return CountReason(
        classes=int(row["count"]),
        net_gain=float(row["net_gain"]),
        given=count is not None,
        further_loss=further,
        zone_cost=zone_cost,
    )
