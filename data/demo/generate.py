"""Writes the demo paddock: an invented sand-over-clay paddock with a pan, as a survey would have met it.

Run `python data/demo/generate.py`; the same seed gives the same files. Nothing here is measured: the soil, the pan and
the lab values are drawn from smooth random fields, and `truth_at` gives them back for studies that need to know.
"""

import json
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
import shapely.ops
from affine import Affine
from numpy.typing import NDArray
from shapely.geometry import LineString, Point, Polygon, mapping

Floats = NDArray[np.float64]

SEED = 20261
HERE = Path(__file__).parent
CRS = "EPSG:32751"
CORNER_M = (538_000.0, 6_625_000.0)
"""South-west corner of the drawing in uncleared sandplain: the coordinates only serve the projection."""

BOUNDARY_M = (
    *((20, 60), (520, 0), (1180, 40), (1500, 180), (1530, 640), (1440, 1010)),
    *((1010, 1150), (560, 1120), (240, 1180), (0, 900), (60, 520)),
)
DEPTHS_MM = np.arange(0.0, 701.0, 25.0)
CRITICAL_KPA = 2500.0
"""Resistance at the pan's top and bottom in the invented truth."""

SOILS = pd.DataFrame(
    {
        "top_mm": [285.0, 265.0, 280.0, 255.0],
        "bottom_mm": [485.0, 395.0, 430.0, 400.0],
        "peak_kpa": [3900.0, 3500.0, 3700.0, 3000.0],
        "presence": [1.2, 1.0, 0.5, -1.6],
        "clay_mm": [np.nan, 470.0, np.nan, 620.0],
        "clay_pct": [3.5, 5.0, 6.0, 13.0],
        "ph_0_100": [5.7, 5.6, 5.5, 6.1],
        "ph_100_200": [4.5, 4.8, 4.9, 5.6],
        "ph_200_300": [4.3, 4.9, 5.0, 5.8],
        "repellence_med": [2.4, 1.6, 1.0, 0.2],
        "esp_pct": [1.5, 8.5, 2.0, 4.0],
        "gravel_pct": [1.0, 3.0, 42.0, 2.0],
    },
    index=pd.Index(["deep sand", "sand over clay", "gravelly sand", "sandy loam"], name="soil_type"),
)
"""Middle of each soil type; `presence` is the mean of the latent field that is above zero where a pan is."""

DATES = pd.DataFrame({"date": ["2026-07-14", "2026-07-15", "2026-09-22"], "dryness": [1.0, 1.0, 1.08]})
"""Two wet days and a dry one, on which everything reads harder."""


def smooth_field(rng: np.random.Generator, length_m: float) -> Callable[[Floats, Floats], Floats]:
    """A random field of unit variance and Gaussian covariance, callable at any point."""
    n_waves = 400
    waves = rng.normal(0.0, 1.0 / length_m, (2, n_waves))
    phase = rng.uniform(0.0, 2.0 * np.pi, n_waves)

    def at(x_m: Floats, y_m: Floats) -> Floats:
        angle = np.multiply.outer(x_m, waves[0]) + np.multiply.outer(y_m, waves[1]) + phase
        return np.asarray(np.cos(angle).sum(axis=-1) * np.sqrt(2.0 / n_waves))

    return at


def boundary() -> Polygon:
    """The paddock, corners cut as a machine would drive them."""
    corners = Polygon(np.array(BOUNDARY_M, dtype=float) + CORNER_M)
    return corners.buffer(-25.0).buffer(25.0, quad_segs=3)


def soil_map() -> gpd.GeoDataFrame:
    """The soil map: a sand ridge between duplex flats, a gravelly rise with an island, a loamy corner."""
    y = np.linspace(-50.0, 1250.0, 27)
    x = np.linspace(900.0, 1600.0, 15)
    west = LineString(np.c_[430 + 95 * np.sin(y / 210) + 0.10 * y, y] + CORNER_M)
    east = LineString(np.c_[1010 + 70 * np.sin(y / 170 + 1.0) - 0.08 * y, y] + CORNER_M)
    south = LineString(np.c_[x, 420 + 45 * np.sin(x / 110)] + CORNER_M)
    island = Point(np.array([690.0, 830.0]) + CORNER_M).buffer(105.0, quad_segs=5)
    island = shapely.affinity.rotate(shapely.affinity.scale(island, 1.3, 0.8), 30)
    pieces = shapely.ops.polygonize(
        shapely.node(shapely.union_all([boundary().exterior, west, east, south, island.exterior]))
    )
    inner = [piece for piece in pieces if boundary().contains(piece.representative_point())]

    def type_of(piece: Polygon) -> str:
        at = piece.representative_point()
        if island.contains(at):
            return "gravelly sand"
        if at.x < np.interp(at.y, *np.array(west.coords).T[::-1]):
            return "sand over clay"
        if at.x < np.interp(at.y, *np.array(east.coords).T[::-1]):
            return "deep sand"
        return "gravelly sand" if at.y > np.interp(at.x, *np.array(south.coords).T) else "sandy loam"

    map_ = gpd.GeoDataFrame({"soil_type": [type_of(piece) for piece in inner]}, geometry=inner, crs=CRS)
    map_ = map_.dissolve("soil_type", method="coverage").explode().reset_index()
    map_["clay_depth_mm"] = map_["soil_type"].map(SOILS["clay_mm"])
    return map_[["soil_type", "clay_depth_mm", "geometry"]]


def truth_at(x_m: Floats, y_m: Floats) -> pd.DataFrame:
    """The invented truth at points in UTM zone 51 south.

    Columns `soil_type`, `present`, `top_mm`, `bottom_mm`, `peak_kpa` (of the pan, also where `present` is false) and
    `clay_mm` (NaN: none in reach), without the scatter between insertions.
    """
    rng = np.random.default_rng(SEED)
    bottom, top, peak, presence, clay = (smooth_field(rng, length)(x_m, y_m) for length in (170, 200, 150, 160, 220))
    points = gpd.GeoDataFrame(geometry=gpd.points_from_xy(x_m, y_m), crs=CRS)
    soil = points.sjoin_nearest(soil_map(), how="left")
    soil = soil[~soil.index.duplicated()]["soil_type"]
    middle = SOILS.loc[soil]
    clay_mm = middle["clay_mm"].to_numpy() + 45 * clay
    top_mm = np.clip(middle["top_mm"].to_numpy() + 18 * top, 250, 345)
    bottom_mm = np.clip(middle["bottom_mm"].to_numpy() + 42 * bottom, top_mm + 80, 560)
    return pd.DataFrame(
        {
            "soil_type": soil.to_numpy(),
            "present": middle["presence"].to_numpy() + presence > 0,
            "top_mm": top_mm,
            "bottom_mm": np.maximum(np.fmin(bottom_mm, clay_mm - 40), top_mm + 60),
            "peak_kpa": np.maximum(middle["peak_kpa"].to_numpy() + 350 * peak + 150 * bottom, 2700),
            "clay_mm": clay_mm,
        }
    )


def probe_sites(rng: np.random.Generator) -> Floats:
    """100 sites: 88 near the nodes of a lattice, and 12 some 25 m from one of them."""
    ground = boundary().buffer(-12.0)
    x_min, y_min, x_max, y_max = ground.bounds
    step_m = 131.0
    nodes = np.stack(np.meshgrid(np.arange(x_min + 40, x_max, step_m), np.arange(y_min + 40, y_max, step_m)), -1)
    nodes = nodes.reshape(-1, 2) + rng.uniform(-25, 25, (nodes.size // 2, 2))
    nodes = nodes[shapely.contains_xy(ground, nodes)]
    nodes = nodes[np.sort(rng.permutation(len(nodes))[:88])]
    angle = rng.uniform(0, 2 * np.pi, len(nodes))
    near = nodes + 25.0 * np.c_[np.cos(angle), np.sin(angle)]
    near = near[shapely.contains_xy(ground, near)]
    return np.concatenate([nodes, rng.permutation(near)[: 100 - len(nodes)]])


def profile_kpa(truth: pd.Series, rng: np.random.Generator, dryness: float) -> Floats:
    """One insertion's cone index at `DEPTHS_MM`: background, pan, clay below, correlated scatter."""
    background = 150.0 + 420.0 * (DEPTHS_MM / 100.0) ** 0.75
    cone = background
    if truth["present"]:
        share = (DEPTHS_MM - truth["top_mm"]) / (truth["bottom_mm"] - truth["top_mm"])
        inside = CRITICAL_KPA + (truth["peak_kpa"] - CRITICAL_KPA) * np.sin(np.pi * np.clip(share, 0, 1)) ** 0.8
        away_mm = np.maximum(truth["top_mm"] - DEPTHS_MM, DEPTHS_MM - truth["bottom_mm"])
        fade = np.exp(-np.maximum(away_mm, 0.0) / 55.0)
        cone = np.where(away_mm <= 0, inside, background + (CRITICAL_KPA - background) * fade)
    if np.isfinite(truth["clay_mm"]):
        cone = cone + 550.0 * np.clip((DEPTHS_MM - truth["clay_mm"] - 25.0) / 130.0, 0.0, 1.0)
    scatter = np.convolve(rng.normal(0.0, 1.0, DEPTHS_MM.size + 2), [0.4, 0.8, 0.4], mode="valid")
    return np.clip(cone * dryness * np.exp(0.05 * scatter), 100.0, 6000.0)


def probe_log(rng: np.random.Generator) -> tuple[pd.DataFrame, float]:
    """The penetrometer log, one row an insertion, and the share stopped inside the pan."""
    sites = probe_sites(rng)
    truth = truth_at(sites[:, 0], sites[:, 1])
    day = np.searchsorted([0.45, 0.8], np.argsort(np.argsort(sites[:, 0])) / len(sites), side="right")
    rows, cones, stopped = [], [], 0
    for number, (xy, (_, here)) in enumerate(zip(sites, truth.iterrows(), strict=True)):
        site_mm = rng.normal(0.0, 10.0)
        for rep in range(1, 4):
            angle, away_m = rng.uniform(0, 2 * np.pi), rng.uniform(0.8, 1.4)
            own = here.copy()
            own["top_mm"] += rng.normal(0.0, 10.0)
            own["bottom_mm"] = max(own["bottom_mm"] + site_mm + rng.normal(0.0, 16.0), own["top_mm"] + 60.0)
            cone = profile_kpa(own, rng, DATES["dryness"][day[number]])
            limit_kpa = rng.normal(3950.0, 550.0)
            hard = np.flatnonzero((cone > limit_kpa) & (own["top_mm"] < DEPTHS_MM))
            if hard.size:
                cone[hard[0] + 1 :] = np.nan
                stopped += own["present"] and DEPTHS_MM[hard[0]] < own["bottom_mm"]
            east_north = xy + away_m * np.r_[np.cos(angle), np.sin(angle)]
            rows.append((f"P{number + 1:03d}", rep, DATES["date"][day[number]], *east_north))
            cones.append(cone)
    table = pd.DataFrame(rows, columns=["site", "rep", "date", "x", "y"])
    return _with_mishaps(table, np.array(cones), truth), stopped / len(rows)


def _with_mishaps(table: pd.DataFrame, cones: Floats, truth: pd.DataFrame) -> pd.DataFrame:
    """Put in what a field log has: one stone hit in passing, and one logger that filled a refusal with zeros."""
    whole = np.isfinite(cones).all(axis=1)
    gravel = np.repeat((truth["soil_type"] == "gravelly sand").to_numpy(), 3)
    cones[np.flatnonzero(whole & gravel)[4], 5] = 5800.0
    refused = np.flatnonzero(~whole)[10]
    cones[refused] = np.nan_to_num(cones[refused], nan=0.0)
    lon_lat = gpd.GeoSeries(gpd.points_from_xy(table["x"], table["y"]), crs=CRS).to_crs("EPSG:4326")
    table["longitude"], table["latitude"] = lon_lat.x.round(6), lon_lat.y.round(6)
    readings = pd.DataFrame(np.round(cones / 5.0) * 5.0, columns=[f"{depth:.0f} mm" for depth in DEPTHS_MM])
    return pd.concat([table[["site", "rep", "date", "longitude", "latitude"]], readings.astype("Int64")], axis=1)


def lab_cores(rng: np.random.Generator) -> pd.DataFrame:
    """15 cores, about four in each soil type."""
    ground = soil_map().dissolve("soil_type").buffer(-25.0)
    rows = []
    for soil, count in {"deep sand": 5, "sand over clay": 4, "gravelly sand": 3, "sandy loam": 3}.items():
        points = gpd.GeoSeries([ground[soil]]).sample_points(count, rng=rng).explode()
        rows.extend({"soil_type": soil, "x": point.x, "y": point.y} for point in points)
    table = pd.DataFrame(rows)
    middle = SOILS.loc[table["soil_type"]].reset_index(drop=True)
    lon_lat = gpd.GeoSeries(gpd.points_from_xy(table["x"], table["y"]), crs=CRS).to_crs("EPSG:4326")
    cores = pd.DataFrame({"core": [f"C{n + 1:02d}" for n in range(len(table))]})
    cores["longitude"], cores["latitude"] = lon_lat.x.round(6), lon_lat.y.round(6)
    for name in ("ph_0_100", "ph_100_200", "ph_200_300"):
        cores[name] = (middle[name] + rng.normal(0, 0.15, len(table))).round(1)
    cores["repellence_med"] = np.maximum(middle["repellence_med"] + rng.normal(0, 0.3, len(table)), 0).round(1)
    clay_mm = truth_at(table["x"].to_numpy(), table["y"].to_numpy())["clay_mm"]
    cores["clay_depth_mm"] = (np.round((clay_mm + rng.normal(0, 15, len(table))) / 10) * 10).astype("Int64")
    for name in ("clay_pct", "esp_pct", "gravel_pct"):
        cores[name] = (middle[name] * np.exp(rng.normal(0, 0.15, len(table)))).round(1)
    return cores


def write_conductivity(path: Path, rng: np.random.Generator) -> None:
    """Write apparent conductivity, mS/m, higher where clay is near; -9999 away from the paddock."""
    ground, cell_m = boundary().buffer(25.0), 10.0
    x_min, y_min, x_max, y_max = np.round(np.array(ground.bounds) / cell_m) * cell_m
    x, y = np.meshgrid(np.arange(x_min, x_max, cell_m) + cell_m / 2, np.arange(y_max, y_min, -cell_m) - cell_m / 2)
    truth = truth_at(x.ravel(), y.ravel())
    clay_mm = truth["clay_mm"].fillna(1600.0).to_numpy()
    drift = smooth_field(rng, 250.0)(x.ravel(), y.ravel())
    eca = 4.0 + 70.0 * np.exp(-clay_mm / 400.0) + 1.5 * drift + rng.normal(0.0, 0.6, clay_mm.size)
    inside = shapely.contains_xy(ground, x, y)
    band = np.where(inside, np.round(eca.reshape(x.shape), 1), -9999.0).astype("float32")
    layout = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": x.shape[0], "width": x.shape[1]}
    layout |= {"crs": CRS, "transform": Affine(cell_m, 0, x_min, 0, -cell_m, y_max), "nodata": -9999.0}
    with rasterio.open(path, "w", compress="deflate", predictor=3, **layout) as file:
        file.write(band, 1)
        file.set_band_description(1, "apparent conductivity, mS/m")


def exclusions() -> gpd.GeoDataFrame:
    """A buried pipe (a line, widened by `buffer_m` when read) and a rock outcrop."""
    pipe = LineString(np.array([(100.0, 980.0), (430.0, 820.0), (1180.0, 905.0), (1420.0, 860.0)]) + CORNER_M)
    rock = Polygon(np.array([(1150, 640), (1200, 610), (1255, 625), (1270, 680), (1225, 715), (1165, 700)]) + CORNER_M)
    table = {"name": ["stock water pipe", "rock outcrop"], "kind": ["buried service", "rock"], "buffer_m": [5.0, 3.0]}
    return gpd.GeoDataFrame(table, geometry=[pipe, rock], crs=CRS)


def write_geojson(table: gpd.GeoDataFrame, path: Path) -> None:
    """Write RFC 7946 GeoJSON, seven decimals, one feature a line."""
    table = table.to_crs("EPSG:4326")
    table.geometry = table.geometry.set_precision(1e-7, mode="pointwise").orient_polygons(exterior_cw=False)
    lines = []
    for row in table.itertuples(index=False):
        values = {name: value for name, value in row._asdict().items() if name != "geometry"}
        values = {name: None if pd.isna(value) else value for name, value in values.items()}
        lines.append(json.dumps({"type": "Feature", "properties": values, "geometry": mapping(row.geometry)}))
    text = '{"type": "FeatureCollection", "features": [\n' + ",\n".join(lines) + "\n]}\n"
    path.write_text(text, encoding="utf-8", newline="\n")


def main(folder: Path = HERE) -> None:
    """Write every file of the paddock to `folder`, beside this script by default."""
    rng = np.random.default_rng(SEED + 1)
    outline = gpd.GeoDataFrame({"name": ["Demo paddock (invented)"]}, geometry=[boundary()], crs=CRS)
    write_geojson(outline, folder / "boundary.geojson")
    write_geojson(soil_map(), folder / "soil_types.geojson")
    write_geojson(exclusions(), folder / "exclusions.geojson")
    log, stopped = probe_log(rng)
    log.to_csv(folder / "probes.csv", index=False, lineterminator="\n")
    lab_cores(rng).to_csv(folder / "cores.csv", index=False, lineterminator="\n")
    write_conductivity(folder / "eca.tif", rng)
    print(f"{boundary().area / 1e4:.1f} ha, {len(log)} insertions, {stopped:.0%} stopped inside the pan")


if __name__ == "__main__":
    main()
