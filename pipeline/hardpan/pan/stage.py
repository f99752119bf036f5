"""Profiles in, pan features with censoring out."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj

from hardpan.core.arrays import Bools, Floats
from hardpan.pan.crossing import locate_crossing
from hardpan.pan.excess import find_peak, integrate_excess, mean_shape
from hardpan.pan.layers import find_layers
from hardpan.pan.readings import Readings, pack, remove_spikes
from hardpan.pan.settings import PanSettings
from hardpan.pan.tables import DATE_DEPTH_MM, compare_dates, mean_within, slice_readings
from hardpan.pan.verdict import choose_pan, explain
from hardpan.records.columns import PAN
from hardpan.records.pan import Bottom, PanFeatures, State
from hardpan.records.survey import Profiles, Stop

_LIKELY = 1.96
"""Half width of a 95 % interval of a normal error, in standard deviations."""


def detect_pan(profiles: Profiles, crs: pyproj.CRS, settings: PanSettings) -> PanFeatures:
    """Give what each insertion says of the pan.

    Parameters
    ----------
    profiles : Profiles
        Checked readings.
    crs : pyproj.CRS
        Working CRS of their positions.
    settings : PanSettings
        The `[pan]` table.
    """
    about = profiles.readings
    readings, _ = remove_spikes(pack(about), ratio=settings.spike_ratio, span_mm=2.0 * settings.min_thickness_mm)
    stop = about["stop"].to_numpy()
    pan = read_pans(readings, stop, settings.critical_kpa, settings)
    pan["insertion"], pan["site"] = about["insertion"].to_numpy(), about["site"].to_numpy()
    points = gpd.points_from_xy(about["x_m"].to_numpy(), about["y_m"].to_numpy(), crs=crs)
    arrays = (readings.depth_mm, readings.thickness_mm, readings.cone_index_kpa)
    slices = slice_readings(*arrays, settings.slice_mm)
    slices.index = pd.Index(pan["insertion"], name="insertion")
    return PanFeatures(
        insertions=gpd.GeoDataFrame(pan, geometry=points)[list(PAN)],
        threshold_kpa=settings.critical_kpa,
        excess_shape=mean_shape(
            readings.depth_mm,
            readings.cone_index_kpa,
            pan["top_mm"].to_numpy(),
            pan["bottom_mm"].to_numpy(),
            settings.critical_kpa,
        ),
        slices=slices,
        sensitivity=_vary_threshold(readings, stop, settings),
        dates=compare_dates(
            about["date"].to_numpy(), mean_within(*arrays, 0.0, DATE_DEPTH_MM), pan["state"].to_numpy()
        ),
    )


def read_pans(readings: Readings, stop: np.ndarray, threshold_kpa: float, settings: PanSettings) -> pd.DataFrame:
    """Give the columns of `hardpan.records.columns.PAN` that the readings decide, one row an insertion."""
    depth, thickness = readings.depth_mm, readings.thickness_mm
    value = np.where(readings.at_least, np.maximum(readings.cone_index_kpa, threshold_kpa), readings.cone_index_kpa)
    layers = find_layers(
        depth,
        thickness,
        value,
        np.isin(stop, [Stop.REFUSAL, Stop.LIMIT]),
        threshold_kpa=threshold_kpa,
        hysteresis_kpa=settings.hysteresis_kpa,
        min_thickness_mm=settings.min_thickness_mm,
    )
    reached_mm = readings.reached_mm
    pan = choose_pan(layers, reached_mm, stop, settings)
    present = pan["state"].eq(State.PRESENT).to_numpy()
    observed = pan["bottom_kind"].eq(Bottom.OBSERVED).to_numpy()
    top_at, bottom_at = pan["top_at"].to_numpy(), pan["bottom_at"].to_numpy()
    packed = Readings(depth_mm=depth, thickness_mm=thickness, cone_index_kpa=value, at_least=readings.at_least)
    top, _, _, _ = _cross(
        packed,
        pan["top_mm"].to_numpy(),
        top_at - 1,
        present & (top_at > 0),
        threshold_kpa=threshold_kpa,
        settings=settings,
    )
    bottom, sd, low, high = _cross(
        packed, pan["bottom_mm"].to_numpy(), bottom_at, observed, threshold_kpa=threshold_kpa, settings=settings
    )
    sample = np.arange(depth.shape[1])
    within = (sample >= top_at[:, None]) & (sample <= bottom_at[:, None]) & present[:, None]
    peak, peak_depth = find_peak(depth, readings.cone_index_kpa, within)
    last_hard = depth[np.arange(len(depth)), bottom_at] - thickness[np.arange(len(depth)), bottom_at] / 2.0
    pan["top_mm"] = np.where(present, np.where(top_at > 0, top, pan["top_mm"]), np.nan)
    pan["bottom_mm"] = np.where(observed, bottom, np.nan)
    pan["bottom_low_mm"] = np.select([observed, present], [low, last_hard], np.nan)
    pan["bottom_high_mm"] = np.select([observed, present], [high, np.inf], np.nan)
    pan["bottom_sd_mm"] = np.where(observed, sd, np.nan)
    pan["peak_kpa"], pan["peak_depth_mm"] = peak, peak_depth
    pan["excess_kpa_mm"] = integrate_excess(
        depth, thickness, value, top_at=top_at, bottom_at=bottom_at, threshold_kpa=threshold_kpa
    )
    pan["why"] = explain(pan, reached_mm)
    return pan


def _cross(
    readings: Readings, start_mm: Floats, above: np.ndarray, use: Bools, *, threshold_kpa: float, settings: PanSettings
) -> tuple[Floats, Floats, Floats, Floats]:
    """Crossing, its standard deviation and its interval, for the rows in `use`; NaN elsewhere."""
    n = len(start_mm)
    result = np.full((4, n), np.nan)
    row = np.flatnonzero(use)
    upper, lower = above[row], above[row] + 1
    depth, thickness = readings.depth_mm[row], readings.thickness_mm[row]
    at = np.arange(len(row))
    step = depth[at, lower] - depth[at, upper]
    crossing, error = locate_crossing(
        depth,
        readings.cone_index_kpa[row],
        start_mm[row],
        threshold_kpa=threshold_kpa,
        window_mm=np.maximum(40.0, 1.6 * step),
        noise_share=settings.noise_share,
    )
    half_upper, half_lower = thickness[at, upper] / 2.0, thickness[at, lower] / 2.0
    layered = half_upper > 0
    low, high = depth[at, upper] - half_upper, depth[at, lower] + half_lower
    sd = np.where(layered, (high - low) / np.sqrt(24.0), np.hypot(np.nan_to_num(error, nan=step), step / 8.0))
    best = np.where(layered, start_mm[row], crossing)
    reach = np.where(layered, 0.0, _LIKELY * sd)
    result[:, row] = best, sd, np.minimum(low, best - reach), np.maximum(high, best + reach)
    return tuple(result)  # type: ignore[return-value]


def _vary_threshold(readings: Readings, stop: np.ndarray, settings: PanSettings) -> pd.DataFrame:
    """One row a threshold of the sensitivity run."""
    rows = []
    for threshold in settings.sensitivity_kpa:
        pan = read_pans(readings, stop, threshold, settings)
        usable, present = pan["state"] != State.UNUSABLE, pan["state"] == State.PRESENT
        rows.append(
            {
                "threshold_kpa": threshold,
                "present_share": present.sum() / max(usable.sum(), 1),
                "top_mm": pan["top_mm"].mean(),
                "bottom_mm": pan["bottom_mm"].mean(),
                "censored_share": (pan["bottom_kind"] == Bottom.CENSORED).sum() / max(present.sum(), 1),
            }
        )
    return pd.DataFrame(rows)
