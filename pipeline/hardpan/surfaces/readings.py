"""Pan features to readings of presence, top, bottom and peak."""

import geopandas as gpd
import numpy as np

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat.censored import Readings
from hardpan.records.pan import Bottom, State
from hardpan.surfaces.variables import Variable

_LEAST_SCALE_MM = 5.0
"""Depths that differ less than this are the same to a probe read every 25 mm."""

_LEAST_SCALE_LOG = 0.02
"""The same for the logarithm of the peak: 2 %."""


def read_presence(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Give presence as bounds on a latent field: above zero where a pan is, below where none is."""
    rows = np.flatnonzero(insertions["state"] != State.UNUSABLE)
    present = insertions["state"].to_numpy()[rows] == State.PRESENT
    readings = Readings(
        site=site[rows],
        low=np.where(present, 0.0, -np.inf),
        high=np.where(present, np.inf, 0.0),
        error=np.zeros(len(rows)),
    )
    return Variable(name="pan", unit="", readings=readings, rows=rows, centre=0.0, scale=1.0, binary=True)


def read_top(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Give the tops of the insertions with a pan."""
    rows = np.flatnonzero(insertions["state"] == State.PRESENT)
    top = insertions["top_mm"].to_numpy(float)[rows]
    known = np.isfinite(top)
    rows, top = rows[known], top[known]
    return _scaled(Readings(site=site[rows], low=top, high=top, error=np.zeros(len(rows))), "top", "mm", rows)


def read_bottom(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Give the bottoms: values where seen, at least the stop depth where the insertion stopped in the pan."""
    kind = insertions["bottom_kind"].to_numpy()
    rows = np.flatnonzero((insertions["state"] == State.PRESENT) & np.isin(kind, [Bottom.OBSERVED, Bottom.CENSORED]))
    seen = kind[rows] == Bottom.OBSERVED
    column = {name: insertions[name].to_numpy(float)[rows] for name in ("bottom_mm", "bottom_low_mm", "bottom_high_mm")}
    low = np.where(seen, column["bottom_mm"], column["bottom_low_mm"])
    high = np.where(seen, column["bottom_mm"], column["bottom_high_mm"])
    error = np.where(seen, np.nan_to_num(insertions["bottom_sd_mm"].to_numpy(float)[rows]) ** 2, 0.0)
    return _scaled(Readings(site=site[rows], low=low, high=high, error=error), "bottom", "mm", rows)


def read_peak(insertions: gpd.GeoDataFrame, site: Ints) -> Variable:
    """Give logarithms of the peaks: values where the pan was passed, lower bounds where the insertion stopped in it."""
    peak = insertions["peak_kpa"].to_numpy(float)
    rows = np.flatnonzero((insertions["state"] == State.PRESENT) & np.isfinite(peak) & (peak > 0))
    low = np.log(peak[rows])
    stopped = insertions["bottom_kind"].to_numpy()[rows] == Bottom.CENSORED
    high = np.where(stopped, np.inf, low)
    return _scaled(Readings(site=site[rows], low=low, high=high, error=np.zeros(len(rows))), "peak", "kPa", rows)


def read_slice(kpa: Floats, site: Ints, name: str) -> Variable:
    """Give the mean cone index of one depth slice."""
    rows = np.flatnonzero(np.isfinite(kpa) & (kpa > 0))
    low = np.log(kpa[rows])
    return _scaled(Readings(site=site[rows], low=low, high=low, error=np.zeros(len(rows))), name, "kPa", rows)


def _scaled(readings: Readings, name: str, unit: str, rows: Ints) -> Variable:
    """Give the readings with mean 0 and variance 1 over the values (over the bounds where there is no value)."""
    base = readings.low[readings.exact] if readings.exact.any() else readings.low
    log = unit == "kPa"
    centre = float(base.mean()) if len(base) else 0.0
    scale = max(float(base.std(ddof=1)) if len(base) > 1 else 0.0, _LEAST_SCALE_LOG if log else _LEAST_SCALE_MM)
    scaled = Readings(
        site=readings.site,
        low=(readings.low - centre) / scale,
        high=(readings.high - centre) / scale,
        error=readings.error / scale**2,
    )
    return Variable(name=name, unit=unit, readings=scaled, rows=rows, centre=centre, scale=scale, log=log)
