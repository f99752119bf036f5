"""Simulated paddocks whose pan is known everywhere, probed as a survey would; invented, for studies of truth.

Fields come from gstools' randomisation method, which shares no code with the package. Strength and depth of the bottom
go together (hard pans are deep pans), so that leaving out the insertions that strength stopped leaves out deep pans.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import geopandas as gpd
import gstools as gs
import numpy as np
import pandas as pd
import pyproj
import shapely
import xarray as xr

from hardpan.records.frame import Frame
from hardpan.records.pan import Bottom, PanFeatures, Peak, Seen, State
from hardpan.records.survey import Paddock, Profiles, Survey

CRS = pyproj.CRS("EPSG:32751")
WEST_M, SOUTH_M = 500_000.0, 6_600_000.0
THRESHOLD_KPA = 2500.0
SOILS = ("deep sand", "gravelly sand", "sand over clay")
TOP_MM, BOTTOM_MM, PEAK_KPA = (260.0, 230.0, 280.0), (430.0, 380.0, 460.0), (3600.0, 3300.0, 3900.0)
"""Middle of each soil type."""
_AT = (np.arange(20) + 0.5) / 20
SHAPE = np.minimum(_AT, 1.0 - _AT) / np.minimum(_AT, 1.0 - _AT).sum()
"""Excess between top and bottom of a pan that rises in a straight line to its peak halfway down, and falls alike."""
TOP_NOISE_MM, READ_MM = 8.0, 6.0
"""Between insertions of a site, and of reading a bottom; standard deviations."""


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """How a paddock is made; depths in mm, standard deviations unless said otherwise."""

    side_m: float = 900.0
    cell_m: float = 15.0
    n_sites: int = 100
    replicates: int = 3
    stopped: float = 0.15
    """Share of the insertions with a pan that strength stops inside it."""
    absent: float = 0.08
    """Share of the ground without a pan."""
    range_m: float = 300.0
    """Distance at which correlation is 5 %."""
    field_mm: float = 40.0
    micro_mm: float = 12.0
    noise_mm: float = 18.0
    top_mm: float = 22.0
    strength: float = 0.16
    """Of the logarithm of the peak."""
    strength_noise: float = 0.07
    together: float = 0.6
    """Correlation of the fields of strength and bottom."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """Survey, pan features, and what is really there, on the cells of the frame."""

    survey: Survey
    pan: PanFeatures
    top_mm: np.ndarray
    bottom_mm: np.ndarray
    present: np.ndarray
    peak_kpa: np.ndarray
    least_present: float
    """Value of the field of presence above which there is a pan."""
    seeds: Mapping[str, int]
    """That each field was made with."""


def invent(recipe: Recipe, seed: int, *, sites: np.ndarray | None = None) -> Truth:
    """One paddock, its survey and its truth; `sites` (n, 2) are probed in place of those of the recipe."""
    rng = np.random.default_rng(seed)
    boundary = shapely.box(WEST_M, SOUTH_M, WEST_M + recipe.side_m, SOUTH_M + recipe.side_m)
    frame = Frame.covering(boundary.bounds, cell_m=recipe.cell_m, crs=CRS)
    x, y = (grid.ravel() for grid in np.meshgrid(frame.x_m, frame.y_m))
    spread = _spread_sites(recipe, rng)
    sites = spread if sites is None else sites
    xy = np.vstack([np.column_stack([x, y]), sites])
    names = ("strength", "bottom", "top", "present")
    seeds = {name: int(rng.integers(2**31)) for name in names}
    field = {name: unit_field(xy, recipe.range_m, seeds[name]) for name in names}
    field["bottom"] = recipe.together * field["strength"] + np.sqrt(1 - recipe.together**2) * field["bottom"]
    soils = _soil_map(boundary, rng)
    soil = soil_at(soils, xy)
    bottom = (
        np.array(BOTTOM_MM)[soil] + recipe.field_mm * field["bottom"] + recipe.micro_mm * rng.standard_normal(len(xy))
    )
    top = np.array(TOP_MM)[soil] + recipe.top_mm * field["top"]
    log_peak = np.log(np.array(PEAK_KPA)[soil]) + recipe.strength * field["strength"]
    least_present = float(np.quantile(field["present"], recipe.absent))
    present = field["present"] > least_present
    at = np.repeat(np.arange(len(x), len(xy)), recipe.replicates)
    site = np.repeat(np.arange(len(sites)), recipe.replicates)
    pan = _probe(recipe, rng, xy[at], site, top=top[at], bottom=bottom[at], log_peak=log_peak[at], present=present[at])
    survey = Survey(
        paddock=Paddock(
            name="invented",
            boundary=gpd.GeoSeries([boundary], crs=CRS),
            area_ha=recipe.side_m**2 / 1e4,
            exclusions=gpd.GeoDataFrame({"name": [], "kind": [], "buried": [], "buffer_m": []}, geometry=[], crs=CRS),
        ),
        probed=_no_profiles(),
        soils=soils,
        cores=gpd.GeoDataFrame({"core": [], "soil_type": []}, geometry=[], crs=CRS),
        frame=frame,
        covariates=xr.Dataset(),
        crs=CRS,
        datum_moves=(),
        digests=pd.Series(dtype=str),
    )
    n = len(x)
    return Truth(
        survey=survey,
        pan=pan,
        top_mm=top[:n].reshape(frame.shape),
        bottom_mm=bottom[:n].reshape(frame.shape),
        present=present[:n].reshape(frame.shape),
        peak_kpa=np.exp(log_peak[:n]).reshape(frame.shape),
        least_present=least_present,
        seeds=seeds,
    )


def probe_further(truth: Truth, recipe: Recipe, xy: np.ndarray, *, seed: int) -> Truth:
    """The same ground probed at further sites (k, 2) as well; those it had keep their readings."""
    pan, first = truth.pan, recipe.n_sites
    rng = np.random.default_rng([seed, first, len(xy)])
    field = {name: unit_field(xy, recipe.range_m, one) for name, one in truth.seeds.items()}
    field["bottom"] = recipe.together * field["strength"] + np.sqrt(1 - recipe.together**2) * field["bottom"]
    soil, at = soil_at(truth.survey.soils, xy), np.repeat(np.arange(len(xy)), recipe.replicates)
    bottom = np.array(BOTTOM_MM)[soil] + recipe.field_mm * field["bottom"]
    bottom = bottom + recipe.micro_mm * rng.standard_normal(len(xy))
    top = np.array(TOP_MM)[soil] + recipe.top_mm * field["top"]
    log_peak = np.log(np.array(PEAK_KPA)[soil]) + recipe.strength * field["strength"]
    there = field["present"] > truth.least_present
    limit = pan.insertions["peak_kpa"].max() if recipe.stopped else np.inf
    found = _probe(
        recipe, rng, xy[at], first + at, top=top[at], bottom=bottom[at], log_peak=log_peak[at], present=there[at],
        limit=limit,
    ).insertions  # fmt: skip
    both = gpd.GeoDataFrame(pd.concat([pan.insertions, found], ignore_index=True), geometry="geometry", crs=CRS)
    return replace(truth, pan=replace(pan, insertions=both))


def drop_stopped(pan: PanFeatures) -> PanFeatures:
    """Leave out the insertions that did not see the bottom: naive, for comparison."""
    return replace(
        pan, insertions=pan.insertions[pan.insertions["bottom_kind"] != Bottom.CENSORED].reset_index(drop=True)
    )


def believe_stopped(pan: PanFeatures) -> PanFeatures:
    """Take the stop depth for the bottom: naive, for comparison."""
    insertions = pan.insertions.copy()
    stopped = insertions["bottom_kind"] == Bottom.CENSORED
    insertions.loc[stopped, "bottom_mm"] = insertions.loc[stopped, "bottom_low_mm"]
    insertions.loc[stopped, "bottom_sd_mm"] = 0.0
    insertions.loc[stopped, "bottom_kind"] = Bottom.OBSERVED
    return replace(pan, insertions=insertions)


def shorten_rods(truth: Truth, share: float) -> Truth:
    """The same insertions with rods so short that this share of the pans met is not passed; tops below are not met."""
    table = truth.pan.insertions.copy()
    met = (table["state"] == State.PRESENT).to_numpy()
    rod_mm = float(np.quantile(table["bottom_mm"].to_numpy()[met], 1.0 - share))
    below = met & (table["top_mm"].to_numpy() >= rod_mm)
    cut = met & ~below & (table["bottom_mm"].to_numpy() > rod_mm)
    top, bottom, peak = (table[name].to_numpy(float) for name in ("top_mm", "bottom_mm", "peak_kpa"))
    risen = np.clip((rod_mm - top) / ((bottom - top) / 2.0), 0.0, 1.0)
    table["reached_mm"] = rod_mm
    table.loc[cut, "peak_kpa"] = (THRESHOLD_KPA + risen * (peak - THRESHOLD_KPA))[cut]
    table.loc[cut, ["bottom_mm", "bottom_sd_mm"]] = np.nan
    table.loc[cut, "bottom_low_mm"], table.loc[cut, "bottom_high_mm"] = rod_mm, np.inf
    table.loc[cut, "bottom_kind"], table.loc[cut, "seen"] = Bottom.CENSORED, Seen.STILL_HARD
    table.loc[below, ["top_mm", "bottom_mm", "bottom_sd_mm", "bottom_low_mm", "bottom_high_mm"]] = np.nan
    table.loc[below, "state"], table.loc[below, "seen"] = State.UNUSABLE, Seen.SHORT
    table.loc[below, "bottom_kind"] = Bottom.ABSENT
    return replace(truth, pan=replace(truth.pan, insertions=table))


def unit_field(xy: np.ndarray, range_m: float, seed: int) -> np.ndarray:
    # gstools' exponential is exp(-h / len_scale): 5 % at 2.996 lengths
    model = gs.Exponential(dim=2, var=1.0, len_scale=range_m / 2.996)
    return np.asarray(gs.SRF(model, seed=seed, mode_no=1500)(xy.T - [[WEST_M], [SOUTH_M]]))


def _spread_sites(recipe: Recipe, rng: np.random.Generator) -> np.ndarray:
    """Sites on a jittered grid, as a surveyor would walk it."""
    per_side = int(np.ceil(np.sqrt(recipe.n_sites)))
    step = recipe.side_m / per_side
    grid = np.stack(np.meshgrid(np.arange(per_side), np.arange(per_side)), axis=-1).reshape(-1, 2) + 0.5
    chosen = grid[rng.permutation(len(grid))[: recipe.n_sites]]
    return [WEST_M, SOUTH_M] + step * (chosen + rng.uniform(-0.3, 0.3, chosen.shape))


def _soil_map(boundary: shapely.Polygon, rng: np.random.Generator) -> gpd.GeoDataFrame:
    west, south, east, north = boundary.bounds
    cut = west + (east - west) * (1 / 3 + rng.uniform(-0.05, 0.05))
    bend = south + (north - south) * (0.55 + rng.uniform(-0.1, 0.1))
    parts = [
        shapely.box(west, south, cut, north),
        shapely.box(cut, south, east, bend),
        shapely.box(cut, bend, east, north),
    ]
    return gpd.GeoDataFrame(
        {"soil_type": list(SOILS), "label": list(SOILS), "clay_depth_mm": [np.nan, np.nan, 500.0]},
        geometry=parts,
        crs=CRS,
    )


def soil_at(soils: gpd.GeoDataFrame, xy: np.ndarray) -> np.ndarray:
    code = np.zeros(len(xy), dtype=int)
    for j, shape in enumerate(soils.geometry):
        code[shapely.intersects_xy(shape, xy[:, 0], xy[:, 1])] = j
    return code


def _probe(recipe, rng, xy, site, *, top, bottom, log_peak, present, limit=None) -> PanFeatures:
    """Push the probe: resistance rises from the threshold at the top to its peak halfway down, then falls."""
    n = len(xy)
    bottom = bottom + recipe.noise_mm * rng.standard_normal(n)
    top = np.minimum(top + TOP_NOISE_MM * rng.standard_normal(n), bottom - 40.0)
    peak = np.maximum(np.exp(log_peak + recipe.strength_noise * rng.standard_normal(n)), THRESHOLD_KPA * 1.05)
    if limit is None:
        limit = np.quantile(peak[present], 1.0 - recipe.stopped) if recipe.stopped else np.inf
    stopped = present & (peak > limit)
    stop = top + (bottom - top) / 2.0 * np.clip((limit - THRESHOLD_KPA) / (peak - THRESHOLD_KPA), 0.0, 1.0)
    seen = bottom + READ_MM * rng.standard_normal(n)
    kind = np.select([~present, stopped], [Bottom.ABSENT, Bottom.CENSORED], Bottom.OBSERVED)
    observed = kind == Bottom.OBSERVED
    table = pd.DataFrame(
        {
            "insertion": [f"{s}-{j}" for j, s in enumerate(site)],
            "site": [f"S{s:03d}" for s in site],
            "date": "2026-07-01",
            "state": np.where(present, State.PRESENT, State.ABSENT),
            "soft_to_mm": np.where(present, np.nan, 700.0),
            "missed": 0.0,
            "top_sd_mm": np.where(present, 0.0, np.nan),
            "top_mm": np.where(present, top, np.nan),
            "bottom_mm": np.where(observed, seen, np.nan),
            "bottom_kind": kind,
            "bottom_low_mm": np.select([observed, stopped], [seen - 12.5, stop], np.nan),
            "bottom_high_mm": np.select([observed, stopped], [seen + 12.5, np.inf], np.nan),
            "bottom_sd_mm": np.where(observed, READ_MM, np.nan),
            "peak_kpa": np.where(present, np.minimum(peak, limit), 1500.0),
            "peak_kind": np.select([~present, stopped], [Peak.ABSENT, Peak.CENSORED], Peak.OBSERVED),
            "peak_sd_kpa": np.nan,
            "doubt": 0.0,
            "peak_depth_mm": np.where(present, np.where(stopped, stop, (top + bottom) / 2), 200.0),
            "excess_kpa_mm": 0.0,
            "seen": np.select([observed, stopped], [Seen.CLOSED, Seen.REFUSAL], Seen.SOFT),
            "reached_mm": 700.0,
            "layer_mm": np.where(present, top, np.nan),
            "next_mm": np.nan,
        }
    )
    return PanFeatures(
        insertions=gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(xy[:, 0], xy[:, 1]), crs=CRS),
        threshold_kpa=THRESHOLD_KPA,
        excess_shape=SHAPE,
        slices=pd.DataFrame(index=pd.Index(table["insertion"])),
        sensitivity=pd.DataFrame(),
        dates=pd.DataFrame(),
    )


def _no_profiles() -> Profiles:
    one = {
        name: ("insertion", np.zeros(0))
        for name in (
            "site",
            "replicate",
            "x_m",
            "y_m",
            "date",
            "stop",
            "stop_mm",
            "source_file",
            "source_row",
            "insertion",
        )
    }
    blank = {
        name: (("insertion", "sample"), np.zeros((0, 0)))
        for name in ("depth_mm", "thickness_mm", "cone_index_kpa", "at_least")
    }
    return Profiles(readings=xr.Dataset(blank, coords=one), depth_limit_mm=700.0)
