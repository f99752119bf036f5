"""Profiles in, pan features with censoring out."""

import dataclasses
import logging
from collections.abc import Mapping
from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj

from hardpan.pan.crossing import find_hardest, find_peak, integrate_excess, judge_peak, locate_crossings, mean_shape
from hardpan.pan.layers import choose_pan, find_layers, find_marginal
from hardpan.pan.moisture import MoistureModel, normalise
from hardpan.pan.readings import Readings, pack, remove_stones
from hardpan.pan.remarks import remark
from hardpan.pan.settings import PanSettings
from hardpan.pan.tables import chance_below, chance_wrong, compare_dates, share_with_pan, slice_readings
from hardpan.records.pan import PAN, Bottom, PanFeatures, Seen, State
from hardpan.records.survey import Profiles, Stop

logger = logging.getLogger(__name__)


def detect_pan(
    profiles: Profiles,
    crs: pyproj.CRS,
    settings: PanSettings,
    models: Mapping[str, MoistureModel] | None = None,
) -> PanFeatures:
    """Pan features: what each insertion says of the pan.

    Parameters
    ----------
    profiles : Profiles
        Checked readings.
    crs : pyproj.CRS
        Working CRS of their positions.
    settings : PanSettings
        The `[pan]` table.
    models : mapping, optional
        Models of cone index against water content, the shipped ones where left out.

    Raises
    ------
    HardpanError
        A moisture model is asked for and the moisture, clay or organic carbon it needs is not there.
    """
    about, moisture = normalise(profiles.readings, settings, models)
    readings, stones = remove_stones(pack(about), ratio=settings.stone_ratio, span_mm=2.0 * settings.min_thickness_mm)
    pan = read_pans(readings, about["stop"].to_numpy(), settings.critical_kpa, settings)
    for name in ("insertion", "site", "date"):
        pan[name] = about[name].to_numpy()
    logger.info(
        "%d of %d insertions show a pan above %g kPa, %d of them to its bottom; %d readings taken for stones",
        (pan["state"] == State.PRESENT).sum(), len(pan), settings.critical_kpa,
        (pan["bottom_kind"] == Bottom.OBSERVED).sum(), stones.sum(),
    )  # fmt: skip
    points = gpd.points_from_xy(about["x_m"].to_numpy(), about["y_m"].to_numpy(), crs=crs)
    dates = compare_dates(readings, pan[["site", "date", "top_mm", "soft_to_mm"]])
    return PanFeatures(
        insertions=gpd.GeoDataFrame(pan, geometry=points)[list(PAN)],
        threshold_kpa=settings.critical_kpa,
        excess_shape=mean_shape(readings, pan["top_mm"], pan["bottom_mm"], settings.critical_kpa),
        slices=slice_readings(readings, settings.slice_mm, pan["insertion"]),
        sensitivity=vary_threshold(pan, readings, about["stop"].to_numpy(), settings),
        dates=dates,
        issues=moisture + remark(pan, readings, stones, dates, settings),
    )


def read_pans(readings: Readings, stop: np.ndarray, threshold_kpa: float, settings: PanSettings) -> pd.DataFrame:
    """Columns of `hardpan.records.pan.PAN` that the readings decide, one row an insertion.

    Parameters
    ----------
    readings : Readings
        Packed readings.
    stop : np.ndarray
        `Stop` of each insertion, shape (insertion,).
    threshold_kpa : float
        The threshold.
    settings : PanSettings
        Everything else.
    """
    # At the device's limit the ground is at least so hard: it counts as hard whatever the threshold.
    floor_kpa = np.where(readings.at_least, threshold_kpa + settings.hysteresis_kpa, -np.inf)
    counted = dataclasses.replace(readings, cone_index_kpa=np.maximum(readings.cone_index_kpa, floor_kpa))
    layers = find_layers(
        counted,
        np.isin(stop, [Stop.REFUSAL, Stop.LIMIT]),
        threshold_kpa=threshold_kpa,
        hysteresis_kpa=settings.hysteresis_kpa,
        min_thickness_mm=settings.min_thickness_mm,
    )
    pan = choose_pan(
        layers, readings.known_mm, find_marginal(counted, threshold_kpa, settings.crust_mm), stop, settings
    )
    present, observed = (pan["state"] == State.PRESENT).to_numpy(), (pan["bottom_kind"] == Bottom.OBSERVED).to_numpy()
    top_at, bottom_at = pan["top_at"].to_numpy(), pan["bottom_at"].to_numpy()
    top_mm, bottom_mm = pan["top_mm"].to_numpy(), pan["bottom_mm"].to_numpy()
    drift_mm = (bottom_mm - top_mm) / np.where(observed, 2.0, 1.0)
    locate = partial(
        locate_crossings, counted, drift_mm=drift_mm, threshold_kpa=threshold_kpa, noise_share=settings.noise_share
    )
    top = locate(top_mm, top_at - 1, present & (top_at > 0), rising=True)
    bottom = locate(bottom_mm, bottom_at, observed, rising=False)
    row = np.arange(len(pan))
    last_hard = (readings.depth_mm - readings.thickness_mm / 2.0)[row, readings.run_at[row, bottom_at]]
    pan["top_mm"] = np.where(present, np.where(top_at > 0, top.mm, top_mm), np.nan)
    pan["top_sd_mm"] = np.where(present, np.nan_to_num(top.sd_mm), np.nan)
    pan["bottom_mm"], pan["bottom_sd_mm"] = bottom.mm, bottom.sd_mm
    pan["bottom_low_mm"] = np.select([observed, present], [bottom.low_mm, np.fmax(last_hard, pan["top_mm"])], np.nan)
    last = np.isfinite(readings.depth_mm).sum(axis=1) - 1
    end_mm = (readings.depth_mm + readings.thickness_mm / 2.0)[row, last]
    softer = (pan["seen"] == Seen.STILL_HARD).to_numpy() & (bottom_at < last)
    pan["bottom_high_mm"] = np.select([observed, softer, present], [bottom.high_mm, end_mm, np.inf], np.nan)
    pan["peak_kpa"], pan["peak_depth_mm"], pan["peak_sd_kpa"] = find_peak(readings, top_at, bottom_at)
    pan["peak_kind"] = judge_peak(readings, pan)
    pan["missed"] = chance_below(
        pan["top_mm"].to_numpy(), pan["soft_to_mm"].to_numpy(), from_mm=settings.crust_mm, to_mm=settings.search_to_mm
    )
    hardest_kpa, hardest_se = find_hardest(readings, settings.crust_mm, settings.search_to_mm)
    pan["doubt"] = chance_wrong(
        np.where(present, pan["peak_kpa"], hardest_kpa),
        np.where(present, pan["peak_sd_kpa"], hardest_se),
        threshold_kpa,
    )
    pan["excess_kpa_mm"] = integrate_excess(counted, top_at, bottom_at, threshold_kpa)
    return pan


def vary_threshold(found: pd.DataFrame, readings: Readings, stop: np.ndarray, settings: PanSettings) -> pd.DataFrame:
    """Pans that other thresholds would have found, one row a threshold of `sensitivity_kpa`."""
    rows = []
    for threshold in settings.sensitivity_kpa:
        same = threshold == settings.critical_kpa
        pan = found if same else read_pans(readings, stop, threshold, settings)
        present = pan["state"] == State.PRESENT
        censored = pan["bottom_kind"] == Bottom.CENSORED
        rows.append(
            {
                "threshold_kpa": threshold,
                "present_share": share_with_pan(pan["top_mm"].to_numpy(), pan["soft_to_mm"].to_numpy()),
                "top_mm": pan["top_mm"].mean(),
                "bottom_mm": pan["bottom_mm"].mean(),
                "censored_share": censored.sum() / max(present.sum(), 1),
            }
        )
    return pd.DataFrame(rows)
