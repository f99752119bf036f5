"""Daily weather, the numbers of the water balance, and what it says of the soil."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.core.settings import Settings
from hardpan.records.issues import Issues
from hardpan.records.quantity import Quantity

WEATHER = ("rain_mm", "et0_mm", "pan_mm", "low_c", "high_c", "humidity_pct", "wind_ms", "solar_mj")
"""Columns of `DailyTable.table`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DailyTable:
    """A file of daily weather as it was read."""

    table: pd.DataFrame
    """One row a day without a day left out, columns `WEATHER`, NaN where the file has nothing; index `day`."""
    file: str
    latitude_deg: float = 0.0


class Reference(StrEnum):
    """Where the reference evapotranspiration of a file of weather comes from."""

    GIVEN = "given"
    PENMAN_MONTEITH = "FAO-56 Penman-Monteith"
    HARGREAVES = "Hargreaves"
    PAN = "pan evaporation"


class SurfaceLayer(Settings):
    """Layer of a texture that evaporates."""

    field_capacity: Quantity
    """m3/m3."""
    wilting_point: Quantity
    """m3/m3."""
    readily_evaporable: Quantity
    """What evaporates as fast as the weather takes it, mm."""
    drains: Quantity
    """Days until the soil no longer drains after rain."""


class BareGround(Settings):
    """Numbers of the balance that are alike for all textures (`configs/balance.toml`)."""

    depth: Quantity
    """Of the layer that evaporates, mm."""
    most_evaporation: Quantity
    weed_height: Quantity
    """m."""
    weeds: Quantity
    depletion: Quantity
    ignored_rain: Quantity
    pan_coefficient: Quantity
    moist_share: Quantity
    reach: Quantity
    """mm."""
    known_within: Quantity
    """Depths of a dry and a wet start that are no further apart say how deep the soil is moist, mm."""


class Balance(Settings):
    """Numbers of the daily water balance."""

    surface: Mapping[str, SurfaceLayer]
    """By texture."""
    bare: BareGround


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilWater:
    """What the balance says of one soil type on the day of the plan."""

    moist_depth_mm: float
    """From as dry a start as can be; NaN where what is missing of the weather leaves it open."""
    least_mm: float
    most_mm: float
    """The same from as dry and from as wet a start as can be."""
    draining: bool
    """Water still moves through it."""
    perched: bool
    """It stands on the clay below."""
    untouched: bool
    """Nothing is left below the layer that evaporates."""
    surface_lacks_mm: float
    """What the layer that evaporates takes of the next rain, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonWater:
    """What the season's weather says of the ground."""

    day: date
    """Of the plan: the state is that of its evening."""
    reference: Reference
    soils: Mapping[str, SoilWater]
    """By soil type."""
    weeks: pd.DataFrame
    """One row a soil type and week before that day: `soil_type`, `day`, `moist_mm`, NaN where it is not known."""
    issues: Issues = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Work:
    """What a plan asks of one soil type."""

    depth_mm: float
    """Of its deepest zone."""
    hours: float
    area_ha: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitDays:
    """Days on which each soil type would have been fit for its depth, in each year of the weather."""

    years: tuple[int, ...]
    """In which they begin; those with days missing are left out."""
    first: date
    """Day on which the soil is taken for dry, in the first of them; a year begins on that day."""
    soil_types: tuple[str, ...]
    depth_mm: tuple[float, ...]
    fit: Bools
    """(n_years, n_days, n_soils)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finishing:
    """Whether the days left of a season are enough for a plan, by years of weather."""

    first: date
    """The day after that of the plan."""
    last: date
    """The last on which it may be ripped."""
    days: float
    """Of work."""
    chance: float
    """Share of the years in which every soil type, and all together, had the fit days they need."""
    half: float
    most: float
    """Days between the two on which ground of the plan is fit, that 50 and 80 % of the years have or surpass."""
    left: tuple[float, ...]
    """The same days, year by year."""
    ha_per_day: float
    """To be ripped on each of `most` days, infinite where they are none."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """What weather says of a plan: how wet the soil is, and the days it leaves for the work."""

    water: SeasonWater
    fit: FitDays | None
    """Of the soil types that are ripped; None where the weather has too few years, or nothing is ripped."""
    months: pd.DataFrame
    """One row a soil type and month, the first whole month of `fit` first: `soil_type`, `month` (1 to 12), `half` and
    `most`: fit days that 50 and 80 % of the years have or surpass. Empty without `fit`."""
    finishing: Finishing | None
    """None as `fit`, and where the season is over."""
    issues: Issues = ()
