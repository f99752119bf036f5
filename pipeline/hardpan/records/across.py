"""Results of several paddocks side by side."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd

from hardpan.records.farm import Job, Outcome, Status
from hardpan.records.season import SeasonPlan, Stress
from hardpan.records.totals import Totals
from hardpan.records.weather import FitDays


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
    unknown: tuple[str, ...] = ()
    """Slugs of paddocks whose fit days are not known: there every day counts as fit."""
    planned_with: int | None = None
    """Year whose fit days the plan counts on; None where those of the plan itself are known, or none are."""
    sure: float = 0.5
    """Share of the years that have as many fit days as that, or more."""


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
    def failed(self) -> tuple[tuple[Job, Outcome], ...]:
        """Paddocks that failed, in the order of the list."""
        pairs = zip(self.jobs, self.outcomes, strict=True)
        return tuple((job, outcome) for job, outcome in pairs if outcome.status is Status.FAILED)
