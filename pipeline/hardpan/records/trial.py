"""A trial of ripping: what is asked, the harvest of its strips, and what ripping gave."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, Self

import geopandas as gpd
import pandas as pd
import pyproj
from pydantic import Field, model_validator

from hardpan.core.settings import InputPath, Settings, setting
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issues

LOCAL_METRES = "local metres"
"""Positions in metres from a corner, where there is no map."""

LEVEL = 0.9
"""Of all intervals of a trial."""

STRIP = ("strip", "treatment", "pair", "zone", "depth_mm", "soil_type", "geometry")
"""Columns of `TrialStrips.table`."""

UNEXPECTED = "harvest-unexpected"
"""Code of the issue that the harvest agrees with nothing the plan reckoned with."""

POINT = ("x_m", "y_m", "value", "time_s", "speed_ms", "swath_m", "moisture_pct")
"""Columns of `Harvest.points`."""

EFFECT = ("group", "effect", "low", "high", "level", "method", "df", "points", "strips")
"""Columns of `TrialResult.effects` and of trial.csv."""


class Treatment(StrEnum):
    """What was done to a strip."""

    RIPPED = "ripped"
    UNRIPPED = "unripped"


class Method(StrEnum):
    """How an effect was come by."""

    SPATIAL = "spatial"
    """Mixed model with errors correlated in the plane and an error of each strip."""
    PAIRED = "paired"
    """Student's t on the differences of pairs of strips."""
    POOLED = "pooled"
    """Zones partly pooled: each drawn to their mean by as much as they differ less than their errors."""


class Rule(StrEnum):
    """What takes points out of the harvest, in the order it is done."""

    UNREADABLE = "no position or no yield"
    DELAYED = "its grain came after the end of the pass"
    NOT_ABOVE_ZERO = "yield not above zero"
    PASS_START = "start of a pass"
    PASS_END = "end of a pass"
    SPEED = "speed out of range"
    SPEED_STEP = "sudden change of speed"
    SWATH = "part of the header"
    MOISTURE = "grain moisture out of range"
    GLOBAL = "far from all others"
    LOCAL = "far from its neighbours"
    OFF_STRIP = "not on a strip"
    STRIP_END = "end of a strip"


class HarvestColumns(Settings):
    """The `[trial.columns]` table: names of columns that are not recognised."""

    x: str | None = setting(None, says="Easting or longitude")
    y: str | None = setting(None, says="Northing or latitude")
    value: str | None = setting(None, says="Yield")
    flow: str | None = setting(None, says="Mass of grain a second, where there is no yield")
    time: str | None = setting(None, says="Seconds since any moment")
    seconds: str | None = setting(None, says="Seconds a point stands for")
    distance: str | None = setting(None, says="Distance driven in them")
    speed: str | None = setting(None, says="Speed")
    swath: str | None = setting(None, says="Width cut")
    moisture: str | None = setting(None, says="Grain moisture, % of wet mass")


class FlowSettings(Settings):
    """The `[trial.flow]` table: how mass flow becomes yield."""

    flow_unit: Literal["kg/s", "lb/s", "t/h"] = setting("kg/s", says="Unit of the mass flow")
    distance_unit: Literal["m", "cm", "in", "ft"] = setting("m", says="Unit of the distance driven")
    swath_m: float | None = setting(None, says="Width cut, where no column has it", unit="m", gt=0)
    market_moisture_pct: float | None = setting(
        None, says="Yield is brought to this grain moisture; as harvested when left out", unit="%", ge=0, lt=50
    )


class CleaningSettings(Settings):
    """The `[trial.cleaning]` table: limits of the rules; a rule whose column is not there takes nothing."""

    delay_s: float | Literal["auto"] = setting(
        "auto", says="How late the flow reaches the sensor; auto = estimated from the file"
    )
    start_s: float = setting(6.0, says="Taken off where a pass begins", unit="s", source="unverified", ge=0)
    end_s: float = setting(4.0, says="Taken off where a pass ends", unit="s", source="unverified", ge=0)
    least_speed_kmh: float = setting(1.8, says="Slowest", unit="km/h", source="unverified", ge=0)
    most_speed_kmh: float = setting(10.8, says="Fastest", unit="km/h", source="unverified", gt=0)
    speed_step: float = setting(
        0.2, says="Largest change of speed from point to point", unit="share", source="unverified", gt=0
    )
    swath_share: float = setting(
        0.75, says="Least part of the header that cuts", unit="share", source="unverified", ge=0, le=1
    )
    least_moisture_pct: float = setting(6.0, says="Driest grain", unit="%", source="unverified", ge=0)
    most_moisture_pct: float = setting(35.0, says="Wettest grain", unit="%", source="unverified", gt=0)
    global_sd: float = setting(
        3.0, says="Standard deviations from the mean of all", unit="ratio", source="vega2019", gt=0
    )
    local_sd: float = setting(
        3.0, says="Standard deviations from the mean of the neighbours", unit="ratio", source="vega2019", gt=0
    )
    neighbours_m: float = setting(40.0, says="Neighbours are nearer than this", unit="m", source="vega2019", gt=0)
    strip_end_m: float = setting(
        10.0, says="Taken off both ends of a strip, where points have a time", unit="m", source="vega2019", ge=0
    )


class TrialSettings(Settings):
    """The `[trial]` table."""

    run: InputPath | None = setting(None, says="Result of `hardpan run` that laid the strips out")
    strips: InputPath | None = setting(None, says="Polygons with treatment = ripped | unripped, optional zone and pair")
    points: InputPath = setting(says="Yield-monitor points or a plot table")
    crs: str | None = setting(
        None, says='CRS of x and y where their file states none, EPSG:4326 when left out too; "local metres": no map'
    )
    yield_unit: Literal["t/ha", "kg/ha", "bu/ac", "lb/ac", "q/ha", "as given"] | None = setting(
        None, says="Unit of yield where the header names none"
    )
    crop: str | None = setting(None, says="Crop whose bushel is meant; that of the run when left out")
    only: Mapping[str, str | int | float] = Field({}, description="Column = value: rows that are used, all when empty")
    season: Literal["unknown", "usual", "dry finish"] = setting("unknown", says="How the season ended")
    decimal: Literal["auto", ".", ","] = setting("auto", says="Decimal mark")
    seed: int = setting(1, says="Of the draws behind the economics", ge=0)
    clean: bool = setting(True, says="Take out points that a monitor got wrong; false: take every point")
    columns: HarvestColumns = setting(HarvestColumns(), says="Names of columns that are not recognised")
    flow: FlowSettings = setting(FlowSettings(), says="How mass flow becomes yield")
    cleaning: CleaningSettings = setting(CleaningSettings(), says="Limits of the rules")

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.run is None) == (self.strips is None):
            message = "either run or strips"
            raise ValueError(message)
        return self


class Trial(Settings):
    """A trial's file."""

    trial: TrialSettings = setting(says="The trial")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialStrips:
    """TrialStrips of ground that were ripped or left."""

    table: gpd.GeoDataFrame
    """Columns `STRIP`: `strip` (int), `treatment`, `pair` (int, 0 where none is stated), `zone` (int, 0 where none),
    `depth_mm` (NaN where not stated), `soil_type` ("" where not stated), polygons in the working CRS, m."""
    crs: pyproj.CRS | None
    """None: local metres."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Harvest:
    """Points of a harvest, as read."""

    points: pd.DataFrame
    """Columns `POINT`, NaN where not known: place in the working CRS (m), yield in `unit`, seconds, m/s, m, % of wet
    mass. In the order of the file."""
    unit: str
    """"t/ha", or "as given"."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialInputs:
    """Files of a trial, as read."""

    strips: TrialStrips
    harvest: Harvest
    digests: pd.Series
    """File name to SHA-256."""
    issues: Issues = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Planned:
    """What the run that laid the strips out planned, and what it expected."""

    zones: pd.DataFrame
    """One row a ripped zone: `zone`, `soil_type`, `area_ha`, `depth_mm`, and money of the zone: `benefit`, `cost`,
    `cost_low`, `cost_high`."""
    catalog: Catalog
    controlled_traffic: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Payback:
    """What the ripping returned, by zone and in all; money of the run's currency per ha."""

    table: pd.DataFrame
    """`group`, `area_ha`, `cost_per_ha`, `first_net_per_ha` (after this harvest alone), `first_paid` (its chance of
    being above 0), `net_per_ha` (over the seasons the loosening lasts), `net_low_per_ha`, `net_high_per_ha`, `paid`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialResult:
    """What a trial showed."""

    strips: TrialStrips
    points: pd.DataFrame
    """Points that are used: `POINT` and `strip`."""
    unit: str
    cleaning: pd.DataFrame
    """`rule` (a `Rule`), `points` taken out, in the order of the rules; rules that could not be applied have none."""
    delay_s: float
    """Flow delay taken out; 0 where none was found or none could be looked for."""
    means: pd.DataFrame
    """One row a strip: `strip`, `treatment`, `pair`, `zone`, `depth_mm`, `points`, `mean`."""
    effects: pd.DataFrame
    """Columns `EFFECT`; yield of ripped ground less that of unripped."""
    by_depth: pd.DataFrame
    """The same for each working depth, `group` the depth in mm; empty where it is one, or not known."""
    mean_unripped: float
    model: Mapping[str, float]
    """Of the mixed model for all: `range_m`, `sill`, `noise`, `strip_variance`."""
    response: pd.DataFrame
    """One row a soil type that was tried: `soil_type`, `prior`, `prior_low`, `prior_high`, `value`, `low`, `high` (t/ha
    of the reference rip in the reference pan, first season of the usual kind), `effects` (zones it rests on), `agrees`
    (chance of a first season as far from the prior's middle, two-sided); empty without a run."""
    payback: Payback | None
    issues: Issues = field(default=())
