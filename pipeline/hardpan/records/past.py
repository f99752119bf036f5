"""Results read back: of several paddocks side by side, and of one paddock before and after a change."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.records.farm import Job, Outcome, Status
from hardpan.records.ledger import Totals
from hardpan.records.season import Fate, SeasonPlan, Stress
from hardpan.records.weather import FitDays

CHANGE = ("what", "where", "before", "after", "change", "low", "high", "cause")
"""Columns of `Comparison.rows` and of compare.csv."""

PAN_MAPS = ("pan_probability", "pan_top_mm", "pan_bottom_mm", "peak_kpa")
"""Bands that rest on the readings alone; that of getting through the pan rests on the depth chosen too."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PaddockResult:
    """What the folder of one paddock says of its plan."""

    name: str
    zones: gpd.GeoDataFrame
    """One row a zone as planned, working CRS: `zone`, `kind`, `soil_type`, `setup`, `depth_mm`, `area_ha`, `hours`,
    `fuel_l` and others of record.json."""
    ripped_ha: float
    net: float
    """Expected net return, money."""
    hours: float
    litres: float
    plan_number: str
    totals: Totals
    outputs: Mapping[str, Any]
    """Its table `[outputs]`: whose units it is told in."""
    fit: FitDays | None = None
    """Days of other years on which its soil types were fit; None where no years of weather were given."""

    @property
    def net_per_hour(self) -> float:
        """Expected net return per hour of the machine, 0 where nothing is ripped."""
        return self.net / self.hours if self.hours else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FarmSeason:
    """The season over the paddocks of a list."""

    plan: SeasonPlan
    stress: Stress | None
    """The same through the fit days of other years; None where they are not known."""
    open_days: Mapping[str, Bools]
    """Days of the plan on which each paddock can be worked, (n_days,), by its slug."""
    unknown: tuple[str, ...] = ()
    """Slugs of paddocks whose fit days are not known: there every day counts as fit."""
    planned_with: int | None = None
    """Year whose fit days the plan counts on; None where those of the plan itself are known, or none are."""
    sure: float = 0.5
    """Share of the years that have as many fit days as that, or more."""
    returns: tuple[float, float, float] = (float("nan"),) * 3
    """Net return of the paddocks that are ripped, expected, 5 and 95 % points, money; NaN where it cannot be summed."""
    idle: tuple[str, ...] = ()
    """Machines that rip no paddock."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FarmRun:
    """A list of paddocks worked through, as the outputs receive it."""

    file: Path
    """The list."""
    digest: str
    """SHA-256 of the list."""
    jobs: tuple[Job, ...]
    outcomes: tuple[Outcome, ...]
    """One a job, in the order of the list."""
    results: Mapping[str, PaddockResult]
    """Slug to result, of those done or kept."""
    tallies: pd.DataFrame
    """Sums by paddock and over all: `paddock`, `item`, `quantity`, `unit`, `amount`, `low`, `high`."""
    must: Mapping[str, bool]
    """Slug to whether every plan of the season rips it."""
    season: FarmSeason | None
    """None: no days were given, or there is no plan for them."""
    fault: str
    """Why there is no plan of the season though days were given, one line; ""."""
    version: str
    started: str
    """UTC, ISO 8601."""

    @property
    def names(self) -> dict[str, str]:
        """Slug to the name a paddock goes by."""
        return {job.slug: job.paddock for job in self.jobs}

    @property
    def fates(self) -> dict[str, Fate]:
        """Slug to what becomes of a paddock in the season, in the order they are begun, those left at the end."""
        if self.season is None:
            return {}
        jobs = self.season.plan.jobs
        begun = jobs["first_day"].where(jobs["first_day"] >= 0, len(self.season.plan.days))
        order = jobs.loc[begun.sort_values(kind="stable").index, ["paddock", "fate"]]
        planned = {str(slug): Fate(fate) for slug, fate in order.itertuples(index=False)}
        return planned | {slug: Fate.NO_GAIN for slug in self.results if slug not in planned}

    @property
    def failed(self) -> tuple[tuple[Job, Outcome], ...]:
        """Paddocks that failed, in the order of the list."""
        pairs = zip(self.jobs, self.outcomes, strict=True)
        return tuple((job, outcome) for job, outcome in pairs if outcome.status is Status.FAILED)


class What(StrEnum):
    """Kind of a change; the value is its code in tables."""

    VERSION = "version"
    INPUT = "input"
    SETTING = "setting"
    READINGS = "insertions"
    MAP = "map"
    ZONES = "zones"
    DEPTH = "hectares at a depth"
    MOVED = "hectares with another depth"
    MONEY = "money"
    WORK = "work"


CAUSES = (What.VERSION, What.INPUT, What.SETTING)
"""Kinds that explain the others."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PastRun:
    """Result of a run as its files say."""

    name: str
    """Of the folder, with those above it where two have one name."""
    document: Mapping[str, Any]
    """Content of run.json."""
    zones: gpd.GeoDataFrame
    """`zone`, `depth_mm`, `area_ha`, polygons in the working CRS."""
    tallies: pd.DataFrame
    """tallies.csv."""
    insertions: int | None
    """Number of them; None where no file says."""
    maps: Mapping[str, Floats]
    """Band to values, (n_rows, n_cols); empty where no raster was written."""
    grid: tuple[float, float, float]
    """West edge, north edge and cell, m; NaN without a raster."""
    draws: Mapping[str, Floats]
    """Item of the money to its total in each draw; empty where no file says."""
    mean_sd: Mapping[str, float]
    """Band to the standard deviation of its mean over the paddock; empty where no file says."""
    residuals: pd.DataFrame
    """Of readings held against their forecasts from all other sites: `variable`, `site`, `insertion`, `x_m`, `y_m`,
    `residual` (NaN for bounds), `sd`; no rows where no file says."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """What changed between two results."""

    before: PastRun
    after: PastRun
    rows: pd.DataFrame
    """Columns `CHANGE`, causes first; `low` and `high` hold the change with 90 % probability, NaN where it is exact;
    empty for two equal results."""
    currency: str
    """Of the later result's money."""
    difference: Floats | None
    """(n_rows, n_cols) of the pan's bottom, after less before, mm; None where the grids differ or are missing."""
    error_correlation: float
    """Of the errors of the two maps of the bottom, [0, 1]; 0 where both have too few insertions in common."""
    paired: bool
    """Ranges of money are those of the differences draw by draw."""
    clear: Floats | None
    """The same where it is beyond its own 90 % interval, NaN elsewhere."""
