"""What each insertion says of the pan."""

from dataclasses import dataclass, field
from enum import StrEnum

import geopandas as gpd
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.issues import Issues

PAN = (
    "insertion", "site", "date", "state", "soft_to_mm", "missed", "doubt", "top_mm", "top_sd_mm", "bottom_mm",
    "bottom_kind", "bottom_low_mm", "bottom_high_mm", "bottom_sd_mm", "peak_kpa", "peak_sd_kpa", "peak_kind",
    "peak_depth_mm", "excess_kpa_mm", "seen", "reached_mm", "layer_mm", "next_mm", "geometry",
)  # fmt: skip
"""Columns of `PanFeatures.insertions`."""

DATES_TO_MM = 300.0
"""Probing dates are compared on the mean above this depth, where the weather shows first."""


class State(StrEnum):
    """Whether there is a pan."""

    PRESENT = "present"
    ABSENT = "absent"
    """None begins above `soft_to_mm`; `missed` is the chance that one begins below it."""
    UNUSABLE = "unusable"
    """The record says nothing either way: it stops on a stone (refused straight from soft soil), or within the depth of
    a crust."""


class Bottom(StrEnum):
    """What is known of the pan's bottom."""

    OBSERVED = "observed"
    """Between `bottom_low_mm` and `bottom_high_mm`, best value `bottom_mm`."""
    CENSORED = "right-censored"
    """Deeper than `bottom_low_mm`; `bottom_mm` is NaN and `bottom_high_mm` infinite. Where the rod ended in readings
    under the threshold, too few to close the pan, its bottom likely lies among them: `bottom_high_mm` is the end."""
    ABSENT = "absent"
    UNUSABLE = "unusable"


class Peak(StrEnum):
    """What is known of the pan's highest resistance."""

    OBSERVED = "observed"
    """Passed, or read to the end of the rod."""
    CENSORED = "right-censored"
    """At least `peak_kpa`: refused, at the device's limit, or read by a sensor that held its value."""
    ABSENT = "absent"


class Seen(StrEnum):
    """What an insertion saw, from which follow state and bottom."""

    CLOSED = "closed"
    """A hard layer and soft ground below it."""
    REFUSAL = "refusal"
    """Refused in a hard layer."""
    LIMIT = "limit"
    """At the device's limit in a hard layer."""
    STILL_HARD = "still hard"
    """The record ends in a hard layer."""
    TOO_DEEP = "too deep"
    """First hard below a ripper's reach."""
    SOFT = "soft"
    """No hard layer."""
    MARGINAL = "marginal"
    """Readings at or above the threshold, too few or too little above it for a layer."""
    SHALLOW = "shallow"
    """Not read below the depth of a crust."""
    STONE = "stone"
    """Refused straight from soft ground."""
    SHORT = "short"
    """Ends in soft ground, above the end of the rod and the depth searched to."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PanFeatures:
    """One row an insertion, in the order of the profiles."""

    insertions: gpd.GeoDataFrame
    """Columns `PAN`: `insertion`, `site`, `date` text; `state` value of `State`; `soft_to_mm`
    (depth above which no pan begins, NaN but for absent ones) and `missed` (chance that a pan of this paddock
    would begin below it, 0 where that cannot be); `doubt` (chance that the error of a site's mean put its highest
    reading on this side of the threshold, 0 where none is stated); `top_mm` and its reading error `top_sd_mm`,
    `bottom_mm` (NaN unless observed), `bottom_kind` value of `Bottom`, `bottom_low_mm`, `bottom_high_mm`,
    `bottom_sd_mm` (reading error of the crossing), `peak_kpa` (at least so much where censored), its standard error
    `peak_sd_kpa` where it is the mean of a site's insertions (NaN else), `peak_kind` value of `Peak`,
    `peak_depth_mm`, `excess_kpa_mm` (integral above the threshold), `seen` value of `Seen`, `reached_mm` (last
    reading that was measured), `layer_mm` and `next_mm` (tops of the first and second hard layer below a crust,
    NaN without; of a marginal one the first such reading), `geometry` point in the working CRS."""
    threshold_kpa: float
    excess_shape: Floats
    """Mean excess resistance against relative depth between top (0) and bottom (1), at equal steps; sums to 1."""
    slices: pd.DataFrame
    """Mean cone index (kPa) by depth slice: index insertion, columns the slice's mid depth in mm; NaN unread."""
    sensitivity: pd.DataFrame
    """One row a threshold: `threshold_kpa`, `present_share`, `top_mm`, `bottom_mm` (means over the observed),
    `censored_share`."""
    dates: pd.DataFrame
    """One row a probing date: `date`, `insertions`, `sites`, `mean_kpa` of the slice 0-300 mm and its standard error
    `se_kpa`, `present_share`, `difference_kpa` from the first date and its standard error `difference_se_kpa` (NaN for
    the first date)."""
    issues: Issues = field(default=())

    def __post_init__(self) -> None:
        missing = [name for name in PAN if name not in self.insertions]
        if missing:
            raise InputError(what=f"pan features lack {', '.join(missing)}", right="all of `PAN`")

    @property
    def soft_to_mm(self) -> float | None:
        """Depth above which half of the readings end in soft ground, None where a pan was met or all was read."""
        if not self.insertions["missed"].median() > 0 or self.insertions["top_mm"].notna().any():
            return None
        return float(self.insertions["soft_to_mm"].median())
