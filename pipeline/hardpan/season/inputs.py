"""What the water balance needs: evaporation of each day (FAO-56 Penman-Monteith, Hargreaves), and soil types."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError, SettingsError
from hardpan.records.catalog import Catalog
from hardpan.records.weather import DailyTable, Reference
from hardpan.season.water import Profile, most_evaporation, total_evaporable_mm

CLAY = "clay loam"
"""Row of `water.toml`, and of balance.toml, of the clay below sand."""

SOLAR_CONSTANT = 0.0820
"""MJ per m2 and minute (`fao56`, equation 21)."""
STEFAN_BOLTZMANN = 4.903e-9
"""MJ per K4, m2 and day (`fao56`, equation 39)."""
EVAPORATED_MM = 0.408
"""Evaporation of 1 MJ per m2, mm (`fao56`, equation 20)."""
KELVIN = 273.16
"""0 degrees Celsius as equation 39 has it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forcing:
    """What drives the balance; all arrays (n_days,)."""

    rain_mm: Floats
    """NaN where the file lacks it."""
    et0_mm: Floats
    """Reference evapotranspiration, NaN where the file lacks it."""
    most: Floats
    """K_c max."""
    reference: Reference


def forcing_of(weather: DailyTable, catalog: Catalog, *, elevation_m: float) -> Forcing:
    """Rain, reference evapotranspiration and most evaporation of each day.

    Raises
    ------
    InputError
        The file has no evaporation nor what it can be reckoned from.
    """
    et0_mm, reference = reference_mm(weather, catalog, elevation_m=elevation_m)
    rain_mm = weather.table["rain_mm"].to_numpy(float)
    return Forcing(rain_mm=rain_mm, et0_mm=et0_mm, most=_most(weather, catalog), reference=reference)


def _most(weather: DailyTable, catalog: Catalog) -> Floats:
    """K_c max of each day: by wind and humidity where the file has them, else as shipped for a usual day."""
    bare, table = catalog.balance.bare, weather.table
    usual = np.full(len(table), bare.most_evaporation.value)
    if not table[["low_c", "high_c", "humidity_pct", "wind_ms"]].notna().any().all():
        return usual
    column = {str(name): table[name].to_numpy(float) for name in table}
    driest_pct = 100.0 * np.minimum(_vapour_kpa(column) / saturation_kpa(column["high_c"]), 1.0)
    known = most_evaporation(column["wind_ms"], driest_pct, bare.weed_height.value, bare.weeds.value)
    return np.where(np.isnan(known), usual, known)


def _vapour_kpa(column: Mapping[str, Floats]) -> Floats:
    """Actual vapour pressure from mean humidity (`fao56`, equation 19)."""
    saturated = (saturation_kpa(column["low_c"]) + saturation_kpa(column["high_c"])) / 2.0
    return np.asarray(column["humidity_pct"] / 100.0 * saturated)


def reference_mm(weather: DailyTable, catalog: Catalog, *, elevation_m: float) -> tuple[Floats, Reference]:
    """Reference evapotranspiration of each day, mm, NaN where the file lacks it, and where it comes from.

    As given; else by Penman-Monteith where temperature, humidity, wind and radiation are there; else from a pan; else
    by Hargreaves from temperature.

    Raises
    ------
    InputError
        The file has none of these.
    """
    has = weather.table.notna().any()
    column = {str(name): weather.table[name].to_numpy(float) for name in weather.table}
    if has["et0_mm"]:
        return column["et0_mm"], Reference.GIVEN
    above_mj = extraterrestrial_mj(
        pd.DatetimeIndex(weather.table.index).day_of_year.to_numpy(float), weather.latitude_deg
    )
    low_c, high_c = column["low_c"], column["high_c"]
    if has[["low_c", "high_c", "humidity_pct", "wind_ms", "solar_mj"]].all():
        et0_mm = penman_monteith_mm(
            low_c=low_c, high_c=high_c, vapour_kpa=_vapour_kpa(column), wind_ms=column["wind_ms"],
            solar_mj=column["solar_mj"], above_mj=above_mj, elevation_m=elevation_m,
        )  # fmt: skip
        return et0_mm, Reference.PENMAN_MONTEITH
    if has["pan_mm"]:
        return column["pan_mm"] * catalog.balance.bare.pan_coefficient.value, Reference.PAN
    if has[["low_c", "high_c"]].all():
        return hargreaves_mm(low_c, high_c, above_mj), Reference.HARGREAVES
    raise InputError(
        what="has rain but no evaporation", where=weather.file, right="a column et0_mm, pan_mm, or tmin_c and tmax_c"
    )


def profile_of(catalog: Catalog, soil_types: Sequence[str]) -> Profile:
    """Soil types as the balance has them.

    Raises
    ------
    SettingsError
        A texture has no row in balance.toml.
    """
    soils, balance, water = [catalog.soils[name] for name in soil_types], catalog.balance, catalog.available_water
    for soil in soils:
        if soil.water_texture not in balance.surface:
            raise SettingsError(
                what=f"no row of texture {soil.water_texture!r}", where="balance.toml [surface]",
                right=", ".join(balance.surface),
            )  # fmt: skip
    layers, bare = [balance.surface[soil.water_texture] for soil in soils], balance.bare
    capacity = np.array([layer.field_capacity.value for layer in layers])
    wilting = np.array([layer.wilting_point.value for layer in layers])
    return Profile(
        total_mm=total_evaporable_mm(capacity, wilting, bare.depth.value),
        readily_mm=np.array([layer.readily_evaporable.value for layer in layers]),
        surface_mm=bare.depth.value,
        above=np.array([water[soil.water_texture].value / 10.0 for soil in soils]),
        clay_mm=np.array([np.inf if soil.clay_depth is None else soil.clay_depth.value for soil in soils]),
        clay=np.full(len(soils), water[CLAY].value / 10.0),
        reach_mm=bare.reach.value,
        drains_days=np.array([layer.drains.value for layer in layers]),
        clay_drains_days=balance.surface[CLAY].drains.value,
        most=bare.most_evaporation.value,
        weeds=bare.weeds.value,
        depletion=bare.depletion.value,
        ignored=bare.ignored_rain.value,
        moist_share=bare.moist_share.value,
    )


def extraterrestrial_mj(day_of_year: Floats, latitude_deg: float) -> Floats:
    """Radiation above the atmosphere R_a, MJ per m2 and day (`fao56`, equations 21 to 25).

    >>> round(float(extraterrestrial_mj(246.0, -20.0)), 1)  # FAO 56 example 8: 3 September, 20 degrees south
    32.2
    """
    angle = 2.0 * np.pi * day_of_year / 365.0
    distance = 1.0 + 0.033 * np.cos(angle)
    declination = 0.409 * np.sin(angle - 1.39)
    latitude = np.radians(latitude_deg)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    height = sunset * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    return np.asarray(24.0 * 60.0 / np.pi * SOLAR_CONSTANT * distance * height)


def hargreaves_mm(low_c: Floats, high_c: Floats, above_mj: Floats) -> Floats:
    """ET0 from the lowest and highest temperature (`fao56`, equation 52), R_a in MJ per m2 and day."""
    mean = (low_c + high_c) / 2.0
    return np.asarray(0.0023 * (mean + 17.8) * np.sqrt(np.maximum(high_c - low_c, 0.0)) * above_mj * EVAPORATED_MM)


def saturation_kpa(temperature_c: Floats) -> Floats:
    """Saturation vapour pressure e(T), kPa (`fao56`, equation 11).

    >>> round(float(saturation_kpa(24.5)), 3)  # FAO 56 example 3
    3.075
    """
    return np.asarray(0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3)))


def penman_monteith_mm(
    *,
    low_c: Floats,
    high_c: Floats,
    vapour_kpa: Floats,
    wind_ms: Floats,
    solar_mj: Floats,
    above_mj: Floats,
    elevation_m: float,
) -> Floats:
    """ET0 (`fao56`, equation 6) of a day, without heat stored in the soil.

    Parameters
    ----------
    low_c, high_c : Floats
        Temperature, degrees Celsius.
    vapour_kpa : Floats
        Actual vapour pressure.
    wind_ms : Floats
        Wind at 2 m.
    solar_mj : Floats
        Solar radiation R_s, MJ per m2.
    above_mj : Floats
        R_a of the day, MJ per m2.
    elevation_m : float
        Above the sea.
    """
    mean = (low_c + high_c) / 2.0
    saturated = (saturation_kpa(low_c) + saturation_kpa(high_c)) / 2.0
    slope = 4098.0 * saturation_kpa(mean) / (mean + 237.3) ** 2
    pressure_kpa = 101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26
    psychrometric = 0.665e-3 * pressure_kpa
    clear_mj = (0.75 + 2e-5 * elevation_m) * above_mj
    cloudless = np.clip(solar_mj / np.maximum(clear_mj, 1e-9), 0.3, 1.0)
    warm = ((low_c + KELVIN) ** 4 + (high_c + KELVIN) ** 4) / 2.0
    away_mj = STEFAN_BOLTZMANN * warm * (0.34 - 0.14 * np.sqrt(vapour_kpa)) * (1.35 * cloudless - 0.35)
    net_mj = 0.77 * solar_mj - away_mj
    blown = psychrometric * 900.0 / (mean + 273.0) * wind_ms * (saturated - vapour_kpa)
    taken = EVAPORATED_MM * slope * net_mj + blown
    return np.asarray(np.maximum(taken / (slope + psychrometric * (1.0 + 0.34 * wind_ms)), 0.0))
