"""How deep the soil is moist."""

import numpy as np

from hardpan.records.advice import Known
from hardpan.records.decision import SeasonSettings
from hardpan.records.quantity import Quantity
from hardpan.records.weather import SoilWater


def wetted_depth_mm(rain_mm: float, available_water: Quantity) -> float:
    """Depth that rain wets from the wilting point, mm: rain over plant-available water (mm/cm).

    Counts no evaporation, so it is optimistic (`agvic-raw`).
    """
    return rain_mm / available_water.value * 10.0


def moist_depth_mm(
    season: SeasonSettings, available_water: Quantity, water: SoilWater | None = None, *, repellent: bool
) -> tuple[float, Known]:
    """Depth to which the soil is moist, mm, NaN where that is not known, and how that is known or why not.

    What somebody dug or measured comes before the balance of the season's weather, `water`.
    """
    if season.moist_depth_mm is not None:
        return season.moist_depth_mm, Known.DUG
    if season.rain_since_dry_mm is None and water is None:
        return np.nan, Known.NOT_GIVEN
    if repellent:
        return np.nan, Known.REPELLENT
    if season.rain_since_dry_mm is None and water is not None:
        return water.moist_depth_mm, Known.OPEN if np.isnan(water.moist_depth_mm) else Known.WEATHER
    return wetted_depth_mm(season.rain_since_dry_mm or 0.0, available_water), Known.RAIN
