"""Reference evapotranspiration of a day, mm, of arrays of days: FAO-56 Penman-Monteith and Hargreaves."""

import numpy as np

from hardpan.core.arrays import Floats

SOLAR_CONSTANT = 0.0820
"""MJ per m2 and minute (`fao56`, equation 21)."""
STEFAN_BOLTZMANN = 4.903e-9
"""MJ per K4, m2 and day (`fao56`, equation 39)."""
EVAPORATED_MM = 0.408
"""Evaporation of 1 MJ per m2, mm (`fao56`, equation 20)."""
KELVIN = 273.16
"""0 degrees Celsius as equation 39 has it."""


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
