"""Simulated passes: a pan that is known, tines that loosen what is known, and insertions afterwards."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
import xarray as xr

from hardpan.records.after import Earlier, Judged, Position, Reprobed
from hardpan.records.survey import Profiles

CRS = pyproj.CRS.from_epsg(32751)
EAST, NORTH = 520_000.0, 6_348_000.0
DEPTHS_MM = np.arange(25.0, 701.0, 25.0)
ZONE = shapely.box(EAST, NORTH, EAST + 500, NORTH + 400)
LEFT = shapely.box(EAST + 500, NORTH, EAST + 600, NORTH + 400)
PLAN = {"depth_mm": 500, "spacing_mm": 500.0, "foot_mm": 250.0, "side_deg": 45.0, "critical_mm": 600.0}
"""A winged foot: ridges of 125 mm between tines, so that the ground midway should be loose to 375 mm."""

TRUTHS = {
    "as planned": Judged.BROKEN,
    "ridges": Judged.PARTLY,
    "too shallow": Judged.PARTLY,
    "nothing": Judged.NOT_REACHED,
}
"""What the pass did, and the verdict that it has earned."""


@dataclass(frozen=True)
class Ground:
    """A pan that varies over the paddock, drawn from a seed."""

    seed: int
    pan_top_mm: float = 230.0
    thick_mm: float = 200.0
    peak_kpa: float = 4200.0

    def field(self, which: int, xy: np.ndarray) -> np.ndarray:
        """A smooth field of mean 0 and variance 1."""
        rng = np.random.default_rng([self.seed, which])
        waves, phase = rng.normal(0, 1 / 120.0, (2, 40)), rng.uniform(0, 2 * np.pi, 40)
        return np.sqrt(2 / 40) * np.cos(xy @ waves + phase).sum(axis=1)

    def profiles(self, xy: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Cone index at places, (n, n_depths), with the noise of readings and of ground within a site."""
        n = len(xy)
        top = self.pan_top_mm + 20 * self.field(1, xy) + 12 * rng.normal(size=n)
        bottom = top + self.thick_mm + 20 * self.field(2, xy) + 12 * rng.normal(size=n)
        peak = self.peak_kpa * np.exp(0.10 * self.field(3, xy) + 0.10 * rng.normal(size=n))
        inside = 1 / (1 + np.exp((top[:, None] - DEPTHS_MM) / 12)) / (1 + np.exp((DEPTHS_MM - bottom[:, None]) / 12))
        around = 900 + 0.9 * DEPTHS_MM
        return (around + (peak[:, None] - around) * inside) * np.exp(0.08 * rng.normal(size=(n, DEPTHS_MM.size)))


@dataclass(frozen=True)
class Pass:
    """A pass and how it was probed."""

    truth: str
    moisture: float = 1.0
    """Cone index of the later day over that of the survey."""
    sites: int = 4
    controls: int = 4
    positions: tuple[Position, ...] = (Position.LINE, Position.MIDWAY)
    theta: tuple[float, float] | None = None
    """Water content at the survey and after."""


def simulate(seed: int, one: Pass) -> tuple[Earlier, Reprobed]:
    """A survey of 24 sites, and insertions after a pass."""
    rng, ground = np.random.default_rng([seed, 99]), Ground(seed)
    at = np.column_stack([EAST + rng.uniform(10, 590, 24), NORTH + rng.uniform(10, 390, 24)])
    before = readings([f"S{k}" for k in range(24)], at, ground.profiles(at, rng))
    if one.theta:
        before["theta"] = one.theta[0]
    places, names, loose = [], [], []
    for site in range(one.sites):
        middle = np.array([EAST + rng.uniform(20, 480), NORTH + rng.uniform(20, 380)])
        for number, position in enumerate(one.positions):
            places.append(middle + np.array([0.2 * number, 0.0]))
            names.append((f"R{site}", str(position)))
            loose.append(loosened_mm(one.truth, position) + 15 * rng.normal())
    for site in range(one.controls):
        places.append(np.array([EAST + rng.uniform(510, 590), NORTH + rng.uniform(20, 380)]))
        names.append((f"C{site}", "control"))
        loose.append(0.0)
    xy = np.array(places)
    kpa = ground.profiles(xy, rng)
    softened = np.minimum(kpa, 700 * np.exp(0.2 * rng.normal(size=kpa.shape)))
    kpa = np.where(np.array(loose)[:, None] >= DEPTHS_MM, softened, kpa) * one.moisture
    theta = np.full(kpa.shape, one.theta[1] if one.theta else np.nan)
    return earlier(before), again([site for site, _ in names], [mark for _, mark in names], xy, kpa, theta)


def loosened_mm(truth: str, position: Position) -> float:
    """Depth down to which the pass loosened the ground."""
    whole = {Position.LINE: 500.0, Position.QUARTER: 500.0, Position.MIDWAY: 375.0}
    return {
        "as planned": whole,
        "ridges": {Position.LINE: 500.0, Position.QUARTER: 300.0, Position.MIDWAY: 150.0},
        "too shallow": {Position.LINE: 330.0, Position.QUARTER: 300.0, Position.MIDWAY: 205.0},
        "nothing": dict.fromkeys(whole, 120.0),
    }[truth][position]


def readings(sites, xy, kpa) -> pd.DataFrame:
    """Rows of readings.csv."""
    rows = [
        {"insertion": f"{site}-1", "site": site, "date": "2026-05-01", "stop": "rod end", "x_m": x, "y_m": y,
         "depth_mm": depth, "cone_index_kpa": value, "theta": np.nan}
        for site, (x, y), profile in zip(sites, xy, kpa, strict=True)
        for depth, value in zip(DEPTHS_MM, profile, strict=True)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def earlier(before: pd.DataFrame, **plan) -> Earlier:
    """What the run left: one zone to rip, and a piece that is left."""
    zones = gpd.GeoDataFrame(
        [
            {"zone": 1, "kind": "ground", "soil_type": "deep sand", "area_ha": 20.0, "setup": "winged",
             "speed_kmh": 5.0, "loosened_share": 0.9, "width_m": 3.5, "hours": 12.0, "fuel_l": 500.0,
             "beside": np.nan, **PLAN, **plan},
            {"zone": 2, "kind": "ground", "soil_type": "deep sand", "area_ha": 4.0, "depth_mm": 0, "setup": ""},
        ],
        geometry=[ZONE, LEFT],
        crs=CRS,
    )  # fmt: skip
    models = pd.DataFrame([{"variable": "peak", "range_m": 150.0, "sill": 0.01, "micro": 0.0, "noise": 0.01}])
    return Earlier(
        name="Invented", crs=CRS, boundary=shapely.union(ZONE, LEFT), threshold_kpa=2500.0, zones=zones,
        readings=before, settings={}, models=models,
    )  # fmt: skip


def again(sites, marks, xy, kpa, theta) -> Reprobed:
    """Insertions as the survey's reader gives them."""
    n, shape = len(sites), kpa.shape
    names = [f"{site}-{mark}-{at}" for at, (site, mark) in enumerate(zip(sites, marks, strict=True))]
    data = xr.Dataset(
        {
            "depth_mm": (("insertion", "sample"), np.tile(DEPTHS_MM, (n, 1))),
            "thickness_mm": (("insertion", "sample"), np.zeros(shape)),
            "cone_index_kpa": (("insertion", "sample"), kpa),
            "at_least": (("insertion", "sample"), np.zeros(shape, dtype=bool)),
            "theta": (("insertion", "sample"), theta),
        },
        coords={
            "insertion": names,
            "site": ("insertion", list(sites)),
            "replicate": ("insertion", np.zeros(n, dtype=int)),
            "x_m": ("insertion", xy[:, 0]),
            "y_m": ("insertion", xy[:, 1]),
            "date": ("insertion", ["2026-06-01"] * n),
            "stop": ("insertion", ["rod end"] * n),
            "stop_mm": ("insertion", [700.0] * n),
            "source_file": ("insertion", ["after.csv"] * n),
            "source_row": ("insertion", np.arange(n) + 2),
        },
    )
    profiles = Profiles(readings=data, depth_limit_mm=700.0)
    return Reprobed(profiles=profiles, marks=tuple(marks), digests=pd.Series(dtype=object), issues=())
