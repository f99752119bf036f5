"""Where to probe, in what order, and why there."""

from dataclasses import dataclass, field
from enum import StrEnum

import geopandas as gpd
import shapely

from hardpan.core.settings import InputPath, Settings, setting
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issues
from hardpan.records.survey import Survey
from hardpan.records.trail import Trail


class Chosen(StrEnum):
    """Why a site stands where it stands."""

    COVERAGE = "coverage"
    """In the middle of ground that no other site is nearer to."""
    SOIL_TYPE = "soil type"
    """One of the few that a soil type has at least, however small it is."""
    WORTH = "worth"
    """Its answer is expected to bring most to the choice of depth and set-up."""


class NumberFrom(StrEnum):
    """What the number of sites comes from."""

    COUNT = "count"
    HOURS = "hours"
    PRECISION = "precision"
    """The standard deviation asked for of the map that will come of them."""
    DAY = "day"
    """What one day allows; the precision that is usually aimed at would take more."""
    WORTH = "worth"
    """Each is expected to bring more than it costs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Standard deviation of the pan's bottom expected of the map that will come of a first survey, mm."""

    sd_mm: float
    best_mm: float
    """If the pan stays alike over as far as it may."""
    worst_mm: float
    """If it changes as soon as it may."""
    asked_mm: float
    """What the number of sites aims at, where nothing else sets it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What further sites are expected to bring to the decision of a run, money."""

    worth: float
    """Of all their answers together."""
    cost: float
    """Of the time they take."""
    perfect: float
    """What knowing the pan everywhere would bring."""

    @property
    def pays(self) -> bool:
        """Whether the answers bring more than they cost."""
        return self.worth > self.cost


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """The way round all sites."""

    length_m: float
    """On straight lines, from the gate and back to it, or from the first site to the last where there is no gate."""
    hours: float
    """Walking and probing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SitePlan:
    """Sites to probe, in walking order."""

    sites: gpd.GeoDataFrame
    """`order` from 1, `site`, `insertions`, `soil_type`, `chosen` (a `Chosen`), `stands_ha` (ground that no other site
    is nearer to), `nearest_m` (to the nearest other site, NaN where there is none), `worth` (expected money of its
    answer given those chosen before it, 0 where nothing is known yet), `cost` (money for its time) and `sd_mm`
    (standard deviation of the mapped bottom there; both NaN in a plan by coverage), points in the working CRS."""
    number: NumberFrom
    walk: Walk
    forecast: Forecast | None
    """None where the sites are chosen by their worth."""
    gain: Gain | None
    """None where they are chosen by coverage."""
    probed: gpd.GeoSeries
    """Sites that were probed already, points in the working CRS, by name; may be empty."""
    gate: shapely.Point | None
    """Where the walk begins and ends."""
    spacing_m: float
    """Root of the mean squared distance from the ground to its nearest site."""
    issues: Issues = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProbingRun:
    """Everything that planning the sites found, as the outputs receive it."""

    survey: Survey
    catalog: Catalog
    plan: SitePlan
    trail: Trail

    @property
    def issues(self) -> Issues:
        """All issues, stage after stage."""
        return (*self.survey.issues, *self.plan.issues)


class AccessSettings(Settings):
    """The part of the `[sites]` table that is read with the ground: gate and wheel tracks."""

    gate: tuple[float, float] | None = setting(
        None, says="Where the walk begins and ends, x and y (longitude, latitude); left out: at whichever site is best"
    )
    gate_crs: str = setting("EPSG:4326", says="CRS of the gate")
    tramlines: InputPath | None = setting(
        None, says="Lines of wheel tracks, any OGR format: kept clear of when probing, driven along when ripping"
    )
    tramlines_layer: str | None = setting(None, says="Layer of the tramline file where it has several")
    tramlines_crs: str | None = setting(None, says="CRS of the tramlines where their file states none")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Access:
    """Gate and wheel tracks in the working CRS."""

    gate: shapely.Point | None
    tramlines: gpd.GeoSeries
    """Lines; may be empty."""
