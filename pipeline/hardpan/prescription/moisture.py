"""Whether the soil is moist enough to rip, to the depth it will be ripped."""

from dataclasses import dataclass

import numpy as np

from hardpan.options import moist_depth_mm
from hardpan.records.advice import Known, Verdict
from hardpan.records.decision import SeasonSettings
from hardpan.records.quantity import Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The verdict for one zone."""

    verdict: Verdict
    known: Known
    moist_depth_mm: float = np.nan
    """NaN where not known."""
    rain_needed_mm: float = np.nan


def moisture_window(
    depth_mm: float, season: SeasonSettings, available_water: Quantity | None, *, repellent: bool
) -> Window:
    """Verdict for a zone worked to `depth_mm`; never from the surface alone."""
    if depth_mm <= 0 or available_water is None:
        return Window(verdict=Verdict.NOT_RIPPED, known=Known.NOT_RIPPED)
    if season.too_wet:
        return Window(verdict=Verdict.TOO_WET, known=Known.HAND_TEST, rain_needed_mm=0.0)
    moist, known = moist_depth_mm(season, available_water, repellent=repellent)
    if np.isnan(moist):
        return Window(verdict=Verdict.UNKNOWN, known=known)
    if moist >= depth_mm:
        return Window(verdict=Verdict.READY, known=known, moist_depth_mm=moist, rain_needed_mm=0.0)
    rain = (depth_mm - moist) / 10.0 * available_water.value
    return Window(verdict=Verdict.WAIT, known=known, moist_depth_mm=moist, rain_needed_mm=rain)
