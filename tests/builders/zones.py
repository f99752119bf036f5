"""Small paddocks made by hand as zoning sees them: surfaces, options and survey without the other rooms."""

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
import xarray as xr

from builders import records
from builders.costs import with_zone_cost
from builders.decision import shipped_catalog
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.frame import Frame
from hardpan.records.machines import Ripper
from hardpan.records.options import Options
from hardpan.records.quantity import Quantity
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import INSERTION, Paddock, Profiles, Survey
from hardpan.zones.settings import ZoneSettings
from hardpan.zones.stage import draw_zones

CRS = pyproj.CRS.from_epsg(32751)
CORNER_M = (538_000.0, 6_625_000.0)
CATALOG = shipped_catalog()
DEPTHS_MM = np.arange(300.0, 601.0, 50.0)


def quantity(value, unit):
    return Quantity(value=value, unit=unit, source="design")


RIPPER = Ripper(
    tines=7,
    spacing=quantity(600, "mm"),
    min_depth=quantity(250, "mm"),
    max_depth=quantity(650, "mm"),
    setups=("plain",),
    usual_depth=quantity(500, "mm"),
    rate_of_depth_change=quantity(50, "mm/s"),
    latency=quantity(1, "s"),
    list_price=quantity(1, "AUD"),
    years=quantity(10, "year"),
    hours_per_year=quantity(100, "h"),
)


def smooth_field(seed, x_m, y_m, length_m):
    rng = np.random.default_rng(seed)
    waves, phase = rng.normal(0, 1 / length_m, (2, 60)), rng.uniform(0, 2 * np.pi, 60)
    angle = np.multiply.outer(x_m, waves[0]) + np.multiply.outer(y_m, waves[1]) + phase
    return np.cos(angle).sum(axis=-1) * np.sqrt(2 / 60)


@dataclass(frozen=True)
class Made:
    surfaces: Surfaces
    options: Options
    survey: Survey
    zone_cost: float
    """What a further zone costs, money."""


def geodesic_ha(shape):
    to_degrees = pyproj.Transformer.from_crs(CRS, CRS.geodetic_crs, always_xy=True)
    flat = shapely.transform(shape, to_degrees.transform, interleaved=False)
    return abs(CRS.get_geod().geometry_area_perimeter(shapely.orient_polygons(flat))[0]) / 1e4


def empty_profiles():
    readings = xr.Dataset(
        {
            name: (("insertion", "sample"), np.zeros((0, 0)))
            for name in ("depth_mm", "thickness_mm", "cone_index_kpa", "at_least")
        },
        coords={name: ("insertion", np.array([], dtype=object)) for name in INSERTION},
    )
    return Profiles(readings=readings, depth_limit_mm=700)


def paddock(
    *,
    boundary=None,
    side_m=(800.0, 600.0),
    cell_m=10.0,
    node_m=40.0,
    seed=1,
    length_m=150.0,
    soils=(),
    exclusions=(),
    zone_cost=50.0,
    bottom_mm=None,
    presence=None,
):
    """`soils`: (name, polygon) in local metres over the default soil; `bottom_mm(x, y)` in local metres."""
    boundary = shapely.box(0, 0, *side_m) if boundary is None else boundary
    boundary = shapely.transform(boundary, lambda xy: xy + CORNER_M)
    frame = Frame.covering(boundary.bounds, cell_m=cell_m, crs=CRS)
    x, y = np.meshgrid(frame.x_m, frame.y_m)
    inside = shapely.contains_xy(boundary, x, y)
    lx, ly = x - CORNER_M[0], y - CORNER_M[1]
    bottom = 420 + 60 * smooth_field(seed, lx, ly, length_m) if bottom_mm is None else bottom_mm(lx, ly)
    chance = 0.85 + 0.0 * lx if presence is None else presence(lx, ly)
    names, code = ["sand"], np.zeros(frame.shape)
    grounds = [boundary]
    for name, local in soils:
        shape = shapely.intersection(shapely.transform(local, lambda xy: xy + CORNER_M), boundary)
        code[shapely.contains_xy(shape, x, y)] = len(names)
        grounds = [shapely.difference(one, shape) for one in grounds] + [shape]
        names.append(name)
    maps = {
        "pan_probability": chance,
        "pan_top_mm": 0 * lx + 270,
        "pan_top_sd_mm": 0 * lx + 15,
        "pan_bottom_mm": bottom,
        "pan_bottom_sd_mm": 0 * lx + 20,
        "peak_kpa": 0 * lx + 3500,
        "peak_sd_kpa": 0 * lx + 200,
        "clay_depth_mm": np.nan * lx,
        "soil": code,
    }
    maps = xr.Dataset(
        {k: (("y", "x"), np.where(inside, v, np.nan)) for k, v in maps.items()}, coords={"x": frame.x_m, "y": frame.y_m}
    )
    step = max(1, round(node_m / cell_m))
    rows, cols = np.indices(frame.shape) // step
    key = np.where(inside, rows * frame.n_cols + cols, -1)
    node_of_cell = np.full(frame.shape, -1)
    node_of_cell[inside] = np.unique(key[inside], return_inverse=True)[1]
    n_nodes = node_of_cell.max() + 1
    count = np.bincount(node_of_cell[inside])

    def mean(values):
        return np.bincount(node_of_cell[inside], weights=values[inside]) / count

    surfaces = Surfaces(
        frame=frame,
        inside=inside,
        maps=maps,
        soil_types=tuple(names),
        slices=xr.DataArray(np.zeros((0, *frame.shape)), dims=("depth", "y", "x")),
        draws=xr.Dataset(),
        node_of_cell=node_of_cell,
        errors=None,
        scores=pd.DataFrame(),
        models=pd.DataFrame(),
        verdict=None,
    )
    node_ha = count * cell_m**2 / 1e4
    options = options_for(mean(bottom), mean(chance), node_ha)
    paddock_ = Paddock(
        name="made",
        boundary=gpd.GeoSeries([boundary], crs=CRS),
        area_ha=geodesic_ha(boundary),
        exclusions=gpd.GeoDataFrame(
            {
                "name": [name for name, _ in exclusions],
                "kind": ["rock"] * len(exclusions),
                "buried": [False] * len(exclusions),
                "buffer_m": [0.0] * len(exclusions),
            },
            geometry=[shapely.transform(shape, lambda xy: xy + CORNER_M) for _, shape in exclusions],
            crs=CRS,
        ),
    )
    survey = Survey(
        paddock=paddock_,
        probed=empty_profiles(),
        soils=gpd.GeoDataFrame({"soil_type": names}, geometry=grounds, crs=CRS),
        cores=gpd.GeoDataFrame(geometry=[], crs=CRS),
        frame=frame,
        covariates=xr.Dataset(),
        crs=CRS,
        datum_moves=(),
        digests=pd.Series(dtype=object),
    )
    assert n_nodes == node_ha.size
    return Made(surfaces, options, survey, zone_cost)


def options_for(bottom_mm, presence, node_ha):
    """Money of a plain rule: 120 a hectare once the tines pass the bottom, less a cost that grows with depth."""
    cost = np.concatenate([[0.0], 20 + 0.09 * DEPTHS_MM])
    broken = np.clip(1 - (bottom_mm[:, None] + 25 - DEPTHS_MM) / 100, 0, 1)
    gain = np.concatenate([np.zeros((bottom_mm.size, 1)), 120 * presence[:, None] * broken], axis=1)
    depth = np.concatenate([[0.0], DEPTHS_MM])
    table = pd.DataFrame(
        {"option": np.arange(depth.size), "depth_mm": depth, "speed_kmh": np.where(depth > 0, 5.0, np.nan)}
    )
    return records.options(gain - cost, table=table, cost=0.0 * gain + cost, node_ha=node_ha)


def with_net(made, net):
    return replace(made.options, net=net)


def zone(ground, settings=None, *, options=None, ripper=RIPPER, asked=None, zone_cost=None, seed=1, tramlines=()):
    """The zones of a paddock made by hand; `asked` are settings of the prescription, tramlines in local metres."""
    catalog = with_zone_cost(CATALOG, ground.zone_cost if zone_cost is None else zone_cost)
    return draw_zones(
        Evidence(survey=ground.survey, pan=None, surfaces=ground.surfaces),
        options or ground.options,
        catalog.model_copy(update={"ripper": ripper}),
        settings or ZoneSettings(),
        asked=PrescriptionSettings(**(asked or {})),
        seed=seed,
        tramlines=gpd.GeoSeries([shapely.transform(one, lambda xy: xy + CORNER_M) for one in tramlines], crs=CRS),
    )
