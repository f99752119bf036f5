"""Whether the soil is moist enough to rip, to the depth it will be ripped."""

from dataclasses import dataclass

import numpy as np

from hardpan.records.quantity import Quantity
from hardpan.records.season import SeasonSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The verdict for one zone."""

    verdict: str
    """ "ready", "wait", "too wet", "not known" or, where nothing is ripped, "not ripped"."""
    moist_depth_mm: float
    """NaN where not known."""
    rain_needed_mm: float
    why: str


def wetted_depth_mm(rain_mm: float, available_water: Quantity) -> float:
    """Give the depth that rain wets from the wilting point, mm: rain over plant-available water (mm/cm).

    Counts no evaporation, so it is optimistic (`agvic-raw`).
    """
    return rain_mm / available_water.value * 10.0


def moist_depth_mm(season: SeasonSettings, available_water: Quantity, *, repellent: bool) -> tuple[float, str]:
    """Give how deep the soil is moist, NaN where that is not known, and how that is known or why not."""
    if season.moist_depth_mm is not None:
        return season.moist_depth_mm, "dug or probed"
    if season.rain_since_dry_mm is None:
        return np.nan, "no moisture was given: dig to the working depth and roll the soil between the hands"
    if repellent:
        return np.nan, "rain wets a repellent topsoil unevenly: dig to the working depth in several places"
    how = f"reckoned from {season.rain_since_dry_mm:g} mm of rain without evaporation, so at best"
    return wetted_depth_mm(season.rain_since_dry_mm, available_water), how


def moisture_window(
    depth_mm: float, season: SeasonSettings, available_water: Quantity | None, *, repellent: bool
) -> Window:
    """Give the verdict for a zone worked to `depth_mm`; never from the surface alone."""
    if depth_mm <= 0 or available_water is None:
        why = "nothing is ripped here, so there is nothing to wait for"
        return Window(verdict="not ripped", moist_depth_mm=np.nan, rain_needed_mm=np.nan, why=why)
    if season.too_wet:
        why = "the hand test at working depth says too wet: it would smear; let it dry"
        return Window(verdict="too wet", moist_depth_mm=np.nan, rain_needed_mm=0.0, why=why)
    moist, how = moist_depth_mm(season, available_water, repellent=repellent)
    if np.isnan(moist):
        return Window(verdict="not known", moist_depth_mm=np.nan, rain_needed_mm=np.nan, why=how)
    if moist >= depth_mm:
        why = f"moist to {moist:.0f} mm ({how}); still roll soil from the working depth: a 3 mm roll means too wet"
        return Window(verdict="ready", moist_depth_mm=moist, rain_needed_mm=0.0, why=why)
    rain = (depth_mm - moist) / 10.0 * available_water.value
    why = f"moist to {moist:.0f} mm ({how}) of {depth_mm:.0f} mm: about {rain:.0f} mm more rain, more where it dries"
    return Window(verdict="wait", moist_depth_mm=moist, rain_needed_mm=rain, why=why)
