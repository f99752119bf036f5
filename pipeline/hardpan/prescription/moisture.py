"""Whether the soil is moist enough to rip, to the depth it will be ripped."""

from dataclasses import dataclass

import numpy as np

from hardpan.options import moist_depth_mm
from hardpan.records.advice import Known, Verdict
from hardpan.records.decision import SeasonSettings
from hardpan.records.quantity import Quantity
from hardpan.records.weather import SoilWater


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The verdict for one zone."""

    verdict: Verdict
    known: Known
    moist_depth_mm: float = np.nan
    """NaN where not known."""
    rain_needed_mm: float = np.nan


def moisture_window(
    depth_mm: float,
    season: SeasonSettings,
    available_water: Quantity | None,
    water: SoilWater | None = None,
    *,
    repellent: bool,
) -> Window:
    """Verdict for a zone worked to `depth_mm`; never from the surface alone.

    `water` is what the season's weather says, and is asked where nobody tested the soil by hand.
    """
    if depth_mm <= 0 or available_water is None:
        return Window(verdict=Verdict.NOT_RIPPED, known=Known.NOT_RIPPED)
    if season.too_wet:
        return Window(verdict=Verdict.TOO_WET, known=Known.HAND_TEST, rain_needed_mm=0.0)
    moist, known = moist_depth_mm(season, available_water, water, repellent=repellent)
    if np.isnan(moist):
        return Window(verdict=Verdict.UNKNOWN, known=known)
    reckoned = water if known is Known.WEATHER else None
    if reckoned is not None and season.too_wet is None:
        verdict, known = _passing(reckoned, known)
    else:
        verdict = Verdict.READY
    if moist >= depth_mm or verdict is Verdict.TOO_WET:
        return Window(verdict=verdict, known=known, moist_depth_mm=moist, rain_needed_mm=0.0)
    rain = (depth_mm - moist) / 10.0 * available_water.value
    if reckoned is None:
        return Window(verdict=Verdict.WAIT, known=known, moist_depth_mm=moist, rain_needed_mm=rain)
    return Window(
        verdict=Verdict.TOO_DRY if reckoned.untouched else Verdict.WAIT,
        known=Known.WEATHER,
        moist_depth_mm=moist,
        rain_needed_mm=rain + reckoned.surface_lacks_mm,
    )


def _passing(water: SoilWater, known: Known) -> tuple[Verdict, Known]:
    """Verdict on soil that is moist deep enough: whether water still moves through it or stands on clay."""
    if water.perched:
        return Verdict.TOO_WET, Known.PERCHED
    return (Verdict.WAIT, Known.DRAINING) if water.draining else (Verdict.READY, known)
