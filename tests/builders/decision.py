"""Small paddocks and money made by hand, with the shipped tables, as options and prescription see them."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
import xarray as xr

from hardpan.options.stage import weigh_options
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.told import told_zones
from hardpan.outputs.words.units import Units
from hardpan.pan.settings import PanSettings
from hardpan.prescription.stage import prescribe, settle_zones
from hardpan.records.advice import CountReason
from hardpan.records.decision import DecisionSettings, MachineSettings, PrescriptionSettings, SeasonSettings
from hardpan.records.evidence import Evidence
from hardpan.records.frame import Frame
from hardpan.records.ledger import Rates
from hardpan.records.pan import PAN, PanFeatures
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import INSERTION, Paddock, Profiles, Survey
from hardpan.records.zones import Zones
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config

CRS = pyproj.CRS.from_epsg(32751)
CORNER_M = (538_000.0, 6_625_000.0)
ONE_CLASS = CountReason(classes=1, net_gain=0.0, given=True)


def shipped_catalog(**tables):
    """The shipped tables with overrides of the configuration, e.g. `prices={"fuel_per_l": 3.0}`."""
    base = {"paddock": {"name": "made", "boundary": Path("b")}, "probes": {"file": Path("p")}}
    return read_catalog(Config(**base, **tables))


def pan_features(shape=None):
    table = gpd.GeoDataFrame({name: [] for name in PAN if name != "geometry"}, geometry=[], crs=CRS)
    return PanFeatures(
        insertions=table,
        threshold_kpa=PanSettings().critical_kpa,
        excess_shape=np.full(20, 0.05) if shape is None else np.asarray(shape, dtype=float),
        slices=pd.DataFrame(),
        sensitivity=pd.DataFrame(),
        dates=pd.DataFrame(),
    )


def rates(
    soil_types, *, worth=150.0, n_draws=50, per_hour=250.0, per_litre=2.0, wear=10.0, owning=50.0, contractor=120.0
):
    worth = np.broadcast_to(worth, len(soil_types))
    spread = np.linspace(0.5, 1.5, n_draws)[:, None]
    one = np.ones(n_draws)
    return Rates(
        scenarios=xr.Dataset(
            {
                "worth_per_ha": (("draw", "soil_type"), spread * worth),
                "per_hour": ("draw", per_hour * one),
                "per_litre": ("draw", per_litre * one),
                "wear_per_ha": ("draw", wear * one),
                "capital_per_hour": ("draw", 500.0 * one),
                "tractor ownership": ("draw", owning * one),
                "ripper ownership": ("draw", 0.0 * one),
                "tractor repairs": ("draw", 0.0 * one),
                "contractor_per_ha": ("draw", contractor * one),
            },
            coords={"soil_type": list(soil_types)},
        ),
        currency="AUD",
        worth=pd.DataFrame(
            {"soil_type": list(soil_types), "first_year_t_per_ha": 0.5, "low": 0.2, "high": 0.8, "seasons": 3.0}
        ),
        by_season=pd.DataFrame({"soil_type": list(soil_types), "season": 1, "money_per_ha": worth}),
    )


def ground(
    *,
    side_m=(400.0, 200.0),
    soils=("deep sand",),
    n_draws=50,
    bottom_mm=400.0,
    sd_mm=20.0,
    top_mm=250.0,
    presence=1.0,
    clay_mm=np.nan,
    clay_sd_mm=0.0,
    seed=1,
    cell_m=10.0,
    node_m=20.0,
    exclusions=(),
    cores=None,
):
    """A rectangle cut in equal vertical strips, one a soil type; numbers may be given per strip."""
    frame = Frame.covering((*CORNER_M, CORNER_M[0] + side_m[0], CORNER_M[1] + side_m[1]), cell_m=cell_m, crs=CRS)
    step, n = round(node_m / cell_m), len(soils)
    rows, cols = np.indices(frame.shape)
    strip = np.minimum(cols * n // frame.n_cols, n - 1)
    key = (rows // step) * frame.n_cols + cols // step
    node_of_cell = np.unique(key, return_inverse=True)[1].reshape(frame.shape)
    n_nodes = node_of_cell.max() + 1
    strip_of_node = np.zeros(n_nodes, dtype=int)
    strip_of_node[node_of_cell] = strip
    names = tuple(dict.fromkeys(soils))
    soil = np.array([names.index(name) for name in soils])[strip_of_node]
    per = [
        np.broadcast_to(np.asarray(v, dtype=float), n)[strip_of_node]
        for v in (bottom_mm, top_mm, presence, clay_mm, sd_mm)
    ]
    bottom, top, chance, clay, sd = per
    rng = np.random.default_rng(seed)
    drawn = bottom + sd * rng.normal(size=(n_draws, 1)) + 0.3 * sd * rng.normal(size=(n_draws, n_nodes))
    drawn = np.maximum(drawn, top + 20.0)
    clay_drawn = clay + clay_sd_mm * np.random.default_rng(seed + 1).normal(size=drawn.shape)
    maps = xr.Dataset(
        {
            "pan_probability": (("y", "x"), chance[node_of_cell]),
            "pan_top_mm": (("y", "x"), top[node_of_cell]),
            "pan_bottom_mm": (("y", "x"), bottom[node_of_cell]),
            "pan_bottom_sd_mm": (("y", "x"), sd[node_of_cell]),
            "clay_depth_mm": (("y", "x"), clay[node_of_cell]),
            "soil": (("y", "x"), soil[node_of_cell].astype(float)),
        },
        coords={"x": frame.x_m, "y": frame.y_m},
    )
    draws = xr.Dataset(
        {
            "present": (("draw", "node"), rng.uniform(size=(n_draws, n_nodes)) < chance),
            "top_mm": (("draw", "node"), np.broadcast_to(top, drawn.shape).astype(np.float32)),
            "bottom_mm": (("draw", "node"), drawn.astype(np.float32)),
            "peak_kpa": (("draw", "node"), np.full(drawn.shape, 3500.0, dtype=np.float32)),
            "clay_mm": (("draw", "node"), clay_drawn.astype(np.float32)),
        },
        coords={
            "x_m": ("node", np.zeros(n_nodes)),
            "y_m": ("node", np.zeros(n_nodes)),
            "soil": ("node", soil),
            "clay_depth_mm": ("node", clay),
        },
    )
    surfaces = Surfaces(
        frame=frame,
        inside=np.ones(frame.shape, dtype=bool),
        maps=maps,
        soil_types=names,
        slices=xr.DataArray(np.zeros((0, *frame.shape)), dims=("depth", "y", "x")),
        draws=draws,
        node_of_cell=node_of_cell,
        errors=None,
        scores=pd.DataFrame(),
        models=pd.DataFrame(),
        verdict=None,
    )
    return surfaces, survey_of(surfaces, exclusions, cores), zones_of(surfaces, strip + 1, soils)


def survey_of(surfaces, exclusions=(), cores=None):
    west, south, east, north = surfaces.frame.bounds
    boundary = shapely.box(west, south, east, north)
    readings = xr.Dataset(
        {
            name: (("insertion", "sample"), np.zeros((0, 0)))
            for name in ("depth_mm", "thickness_mm", "cone_index_kpa", "at_least")
        },
        coords={name: ("insertion", np.array([], dtype=object)) for name in INSERTION},
    )
    shapes = [shapely.transform(shape, lambda xy: xy + CORNER_M) for shape in exclusions]
    none = gpd.GeoDataFrame({"core": [], "soil_type": []}, geometry=[], crs=CRS)
    return Survey(
        paddock=Paddock(
            name="made",
            boundary=gpd.GeoSeries([boundary], crs=CRS),
            area_ha=boundary.area / 1e4,
            exclusions=gpd.GeoDataFrame(
                {"name": "rock", "kind": "rock", "buried": False, "buffer_m": [0.0] * len(shapes)},
                geometry=shapes,
                crs=CRS,
            ),
        ),
        probed=Profiles(readings=readings, depth_limit_mm=700),
        soils=gpd.GeoDataFrame({"soil_type": [], "label": [], "clay_depth_mm": []}, geometry=[], crs=CRS),
        cores=none if cores is None else cores,
        frame=surfaces.frame,
        covariates=xr.Dataset(),
        crs=CRS,
        datum_moves=(),
        digests=pd.Series(dtype=object),
    )


def zones_of(surfaces, labels, soils):
    """One zone a label; `soils` names the soil type of each."""
    frame = surfaces.frame
    west, south, _, _ = frame.bounds
    rows = []
    for zone in np.unique(labels[labels > 0]):
        row, col = np.nonzero(labels == zone)
        cells = shapely.box(
            west + col * frame.cell_m,
            south + (frame.n_rows - 1 - row) * frame.cell_m,
            west + (col + 1) * frame.cell_m,
            south + (frame.n_rows - row) * frame.cell_m,
        )
        shape = shapely.union_all(cells)
        rows.append((int(zone), "ground", soils[int(zone) - 1], shape.area / 1e4, shape, 200.0, 0.0, 0.0))
    columns = ["zone", "kind", "soil_type", "area_ha", "geometry", "length_m", "heading_deg", "headland_ha"]
    table = gpd.GeoDataFrame(pd.DataFrame(rows, columns=columns), geometry="geometry", crs=CRS)
    return Zones(
        frame=frame,
        labels=labels,
        classes=labels - 1,
        table=table,
        indices=pd.DataFrame(),
        lift_m=20.0,
        change_m=5.0,
        count=ONE_CLASS,
    )


def weighed(ground, catalog, money, *, pan=None, season=None, machine=None, **prescription):
    """Options of a paddock made by `ground`, and what else a plan of it is asked with."""
    surfaces, survey, _ = ground
    evidence = Evidence(survey=survey, pan=pan or pan_features(), surfaces=surfaces)
    asked = DecisionSettings(
        prescription=PrescriptionSettings(**prescription),
        season=season or SeasonSettings(),
        machine=machine or MachineSettings(),
    )
    return weigh_options(evidence, catalog, money, asked=asked), evidence, asked


def decide(ground, catalog, money, **asked):
    """Options and plan of the zones of a paddock made by `ground`, as they are drawn."""
    options, evidence, settings = weighed(ground, catalog, money, **asked)
    return options, prescribe(ground[2], options, evidence, catalog, money, asked=settings)


def settle(ground, catalog, money, **asked):
    """Zones and plan of a paddock made by `ground`, neighbours that are worked alike joined."""
    options, evidence, settings = weighed(ground, catalog, money, **asked)
    return settle_zones(ground[2], options, evidence, catalog, money, asked=settings)


def words(catalog):
    """English in the units of the files."""
    return speak(Units.of_files("AUD"), catalog)


def told(plan, catalog):
    """The zones of a plan with what is said of them."""
    return told_zones(plan, words(catalog))
