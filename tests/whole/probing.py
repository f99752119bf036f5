"""Where a probe is pushed into an invented paddock, and what it reads there."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from hardpan.core.units import KPA_PER, MM_PER
from whole.recipe import DEPTH
from whole.shapes import within

CONE_MM2 = np.pi * 20.27**2 / 4.0
"""Base of the standard cone: force in N over it is resistance in MPa."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Push:
    """All insertions, and what is really below them."""

    table: pd.DataFrame
    """`site`, `rep`, `x`, `y` (plane), `present`, `top_mm`, `bottom_mm`, `read_mm` (deepest reading)."""
    depths: np.ndarray
    """Of the readings, in the recipe's unit."""
    kpa: np.ndarray
    """(insertions, depths), NaN where nothing was read."""
    theta: np.ndarray
    """The same of water, m3/m3."""


def spread_sites(recipe, boundary: shapely.Geometry, rng: np.random.Generator) -> np.ndarray:
    """The sites' x and y in the plane."""
    n, points = recipe.sites, []
    if recipe.spread == "spot":
        point = within(boundary, rng)
        return np.repeat([[point.x, point.y]], n, axis=0)
    if recipe.spread == "line":
        west, south, east, north = boundary.bounds
        line = shapely.LineString([(west, south), (east, north)]).intersection(boundary)
        longest = max(shapely.get_parts(line), key=lambda part: part.length, default=None)
        if longest is not None and longest.length > 0:
            return shapely.get_coordinates(
                shapely.line_interpolate_point(longest, np.linspace(0.02, 0.98, n), normalized=True)
            )
    if recipe.spread == "clusters":
        hubs = [within(boundary, rng) for _ in range(max(1, n // 8))]
        while len(points) < n:
            hub = hubs[int(rng.integers(len(hubs)))]
            point = shapely.Point(hub.x + rng.normal(0, 15.0), hub.y + rng.normal(0, 15.0))
            points += [point] if boundary.contains(point) else []
        return shapely.get_coordinates(points)
    if recipe.spread == "grid":
        west, south, east, north = boundary.bounds
        step = (boundary.area / n) ** 0.5
        x, y = np.meshgrid(np.arange(west, east + step, step), np.arange(south, north + step, step))
        lattice = np.column_stack([x.ravel(), y.ravel()]) + rng.uniform(-0.3, 0.3, (x.size, 2)) * step
        lattice = lattice[shapely.contains_xy(boundary, lattice)][:n]
        points = [*shapely.points(lattice)]
    points += [within(boundary, rng) for _ in range(n - len(points))]
    return shapely.get_coordinates(points)


def waves(xy: np.ndarray, range_m: float, rng: np.random.Generator, modes: int = 60) -> np.ndarray:
    """A smooth random field of mean 0 and variance 1 at points (n, 2): a sum of waves."""
    direction = rng.normal(0.0, 1.0, (2, modes)) / range_m
    return np.sqrt(2.0 / modes) * np.cos(xy @ direction + rng.uniform(0.0, 2.0 * np.pi, modes)).sum(axis=1)


def push(recipe, boundary: shapely.Geometry, rng: np.random.Generator) -> Push:
    """Push the probe at every site as often as the recipe says."""
    sites = spread_sites(recipe, boundary, rng)
    per = recipe.insertions
    at = np.repeat(np.arange(len(sites)), per)
    xy = sites[at] + (rng.normal(0.0, 0.4, (len(at), 2)) if recipe.spread != "spot" else 0.0)
    range_m = 0.25 * boundary.area**0.5
    field = {name: waves(xy, range_m, rng) for name in ("depth", "strength", "present")}
    rank = np.argsort(np.argsort(waves(sites, range_m, rng))) / max(len(sites) - 1, 1)
    present = (rank <= recipe.pan_share)[at] if recipe.pan_share > 0 else np.zeros(len(at), dtype=bool)
    top_mm = np.maximum(recipe.pan_depth_mm + 30.0 * field["depth"] + rng.normal(0, 8.0, len(at)), 60.0)
    bottom_mm = top_mm + np.maximum(recipe.pan_thickness_mm * (1.0 + 0.2 * field["strength"]), 40.0)
    peak_kpa = recipe.peak_kpa * np.exp(0.12 * field["strength"] + 0.05 * rng.normal(0, 1, len(at)))
    step, deepest = DEPTH[recipe.depth_unit]
    depths = np.round(np.arange(0.0, deepest + step / 2, step), 4)
    depth_mm = depths * MM_PER[recipe.depth_unit]
    kpa = _profiles(depth_mm, (top_mm, bottom_mm), np.where(present, peak_kpa, 0.0), recipe, rng)
    reach_mm = _reaches(depth_mm[-1], (top_mm, bottom_mm), present, recipe, rng)
    kpa = np.where(depth_mm[None, :] <= reach_mm[:, None], kpa, np.nan)
    kpa = np.where(rng.random(kpa.shape) < recipe.holes_in_readings, np.nan, kpa)
    table = pd.DataFrame(
        {
            "site": [f"P{site + 1:03d}" for site in at],
            "rep": np.tile(np.arange(1, per + 1), len(sites)),
            "x": xy[:, 0],
            "y": xy[:, 1],
            "present": present,
            "top_mm": top_mm,
            "bottom_mm": bottom_mm,
            "read_mm": np.where(np.isfinite(kpa), depth_mm[None, :], 0.0).max(axis=1),
        }
    )
    theta = np.clip(0.10 + depth_mm[None, :] / 6000.0 + 0.02 * waves(xy, range_m, rng)[:, None], 0.03, 0.45)
    return Push(table=table, depths=depths, kpa=kpa, theta=np.broadcast_to(theta, kpa.shape))


def _profiles(depth_mm, span_mm, peak_kpa, recipe, rng) -> np.ndarray:
    """Resistance rising with depth, and through the threshold at the top of a pan and back at its bottom."""
    threshold = recipe.settings["pan"]["critical_kpa"]
    top_mm, bottom_mm = span_mm
    middle_mm = (top_mm + bottom_mm) / 2.0
    half_mm = (bottom_mm - top_mm) / 2.0
    away = 1.0 - np.abs(depth_mm[None, :] - middle_mm[:, None]) / half_mm[:, None]
    peak = np.maximum(peak_kpa, np.where(peak_kpa > 0, 1.1 * threshold, 0.0))
    hump = np.where(away > -1.0, threshold + (peak[:, None] - threshold) * away, 0.0)
    base = 150.0 + (0.45 * threshold) * np.clip(depth_mm / 700.0, 0.0, 1.0)
    kpa = np.maximum(base[None, :], np.where(peak[:, None] > 0, hump, 0.0))
    return np.maximum(kpa * (1.0 + 0.04 * rng.normal(0.0, 1.0, kpa.shape)), 20.0)


def _reaches(deepest_mm: float, span_mm, present, recipe, rng) -> np.ndarray:
    """How deep each insertion came: strength stops some inside the pan, short rods others."""
    top_mm, bottom_mm = span_mm
    n = len(top_mm)
    reach = np.full(n, deepest_mm)
    stopped = present & (rng.random(n) < recipe.stopped)
    reach = np.where(stopped, top_mm + rng.uniform(0.3, 0.7, n) * (bottom_mm - top_mm), reach)
    short = rng.random(n) < recipe.short
    return np.minimum(reach, np.where(short, rng.uniform(0.4, 0.7, n) * deepest_mm, deepest_mm))


def as_given(recipe, kpa: np.ndarray) -> np.ndarray:
    """Resistance in the recipe's unit, as a device prints it."""
    digits = {"kPa": 0, "MPa": 3, "psi": 1, "kgf/cm2": 2, "bar": 2, "N": 0}[recipe.resistance_unit]
    return np.round(kpa / (KPA_PER | {"N": 1e3 / CONE_MM2})[recipe.resistance_unit], digits)
