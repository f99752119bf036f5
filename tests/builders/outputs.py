"""A small run made by hand: 24 ha, three zones of ground and one exclusion, names chosen to break things."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
import xarray as xr
from shapely.geometry import MultiPolygon, Point, box

from builders import records
from hardpan.core.settings import parse
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import told_zones
from hardpan.outputs.words.units import Units
from hardpan.records.advice import (
    Cheaper,
    Condition,
    CountReason,
    Hiring,
    MapVerdict,
    Met,
    Spread,
    Step,
    Topic,
)
from hardpan.records.catalog import Catalog
from hardpan.records.evidence import PaddockRun
from hardpan.records.frame import Frame
from hardpan.records.issues import Issue
from hardpan.records.ledger import Ledger, Rates, Total
from hardpan.records.options import Options
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Plan
from hardpan.records.reasons import (
    Alternative,
    Closed,
    Held,
    Left,
    Limit,
    Open,
    Opening,
    Pull,
    Reason,
    Ripped,
    Turn,
)
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import DatumMove, Paddock, Profiles, Survey
from hardpan.records.trail import Trail
from hardpan.records.zones import Zones
from hardpan.run.shipped_tables import read_table

NASTY = '=HYPERLINK("x","y") <script>alert(\'1\')</script> & שדה חרוש ' + "very long " * 20
SAND, DUPLEX = 'deep "sand"', "<b>duplex</b>"
CRS = pyproj.CRS("EPSG:32750")
EAST, NORTH = 520_000.0, 6_348_000.0
FRAME = Frame(crs=CRS, x_min_m=EAST, y_max_m=NORTH + 400, cell_m=10.0, n_rows=40, n_cols=60)
N_DRAWS, DEPTHS = 20, (0, 300, 450)


def at(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    return box(EAST + west, NORTH + south, EAST + east, NORTH + north)


LEFT_CORNER, RIGHT_CORNER, PIPE = at(0, 0, 100, 100), at(500, 300, 600, 400), at(400, 200, 440, 240)
GROUND = [
    at(0, 0, 240, 400) - LEFT_CORNER,
    at(240, 0, 600, 400) - RIGHT_CORNER - PIPE,
    MultiPolygon([LEFT_CORNER, RIGHT_CORNER]),
    PIPE,
]


def quantity(value: float, unit: str, **more: object) -> dict[str, object]:
    return {"value": value, "unit": unit, "source": "unverified", **more}


@pytest.fixture(scope="session")
def catalog() -> Catalog:
    money, hours = quantity(1.5, "money", low=1.0, high=2.0), quantity(500.0, "h/year")
    soil = {
        "texture": "coarse", "water_texture": "sand", "first_year_gain": quantity(0.5, "t/ha", low=0.2, high=0.9),
        "persistence": quantity(0.6, "share"), "persistence_controlled": quantity(0.9, "share"),
        "seasons": quantity(3.0, "season"),
    }  # fmt: skip
    setup = {
        "says": "plain tines", "foot_width": quantity(60.0, "mm"), "side_angle": quantity(45.0, "degree"),
        "critical_ratio": quantity(6.0, "1"), "draft_row": "narrow", "draft_factor": quantity(1.0, "1"),
        "wear_factor": quantity(1.0, "1"),
    }  # fmt: skip
    return parse(
        Catalog,
        {
            "soils": {SAND: soil, DUPLEX: {**soil, "clay_depth": quantity(450.0, "mm")}},
            "tractor_name": "tracked", "ripper_name": "seven-tine",
            "tractor": {
                "engine_power": quantity(370.0, "kW"), "drive": "track", "mass": quantity(25_000.0, "kg"),
                "min_speed": quantity(3.0, "km/h"), "max_speed": quantity(7.0, "km/h"), "list_price": money,
                "years": quantity(10.0, "year"), "hours_per_year": hours,
            },
            "ripper": {
                "tines": 7, "spacing": quantity(600.0, "mm"), "min_depth": quantity(200.0, "mm"),
                "max_depth": quantity(600.0, "mm"), "setups": ["plain", "winged"],
                "usual_depth": quantity(400.0, "mm"), "rate_of_depth_change": quantity(50.0, "mm/s"),
                "latency": quantity(1.0, "s"), "list_price": money, "years": quantity(10.0, "year"),
                "hours_per_year": hours,
            },
            "setups": {
                "plain": setup,
                "winged": {
                    **setup, "says": "winged tines", "foot_width": quantity(250.0, "mm"),
                    "leading_depth_share": quantity(0.6, "share"),
                },
            },
            "balance": read_table("balance"),
            "rules": [
                {
                    "constraint": "acidity", "says": "<pH> low in {0-100 mm}", "when": {"ph_0_100": [0.0, 5.0]},
                    "prefers": ["winged"], "rollers": True, "spreads": "lime", "source": "design",
                    "advice": "Ask the agronomist for a lime rate.", "not_fixed": "acid below {200 mm}",
                }
            ],
            "response": {
                "free_below": quantity(1000.0, "kPa"), "stopped_above": quantity(3000.0, "kPa"),
                "dry_loosened": quantity(0.7, "1"), "saturation": quantity(0.2, "share"),
                "season": {"dry_chance": quantity(0.2, "share"), "dry_gain": quantity(-0.3, "share")},
                "between": {
                    "depth": quantity(400.0, "mm"), "tolerance": quantity(25.0, "mm"),
                    "least_shallower": quantity(100.0, "mm"), "seasons": quantity(2.0, "seasons"),
                    "full_seasons": quantity(4.0, "seasons"),
                },
                "reference": {
                    "top": quantity(200.0, "mm"), "bottom": quantity(400.0, "mm"), "threshold": quantity(2500.0, "kPa"),
                    "peak": quantity(3500.0, "kPa"), "depth": quantity(600.0, "mm"), "spacing": quantity(500.0, "mm"),
                    "setup": "plain",
                },
            },
            "reference_setup": setup,
            "lab": {"error": {}, "chance": {"forbids": quantity(0.2, "share"), "near": quantity(0.1, "share")}},
            "effort": {
                "rows": {}, "texture_factor": {}, "depth_exponent": quantity(1.5, "1"),
                "anchor_depth": quantity(400.0, "mm"), "tractive_efficiency": {}, "slip": {},
                "engine_to_axle": quantity(0.9, "share"), "usable_power": quantity(0.85, "share"), "fuel": {},
                "field_efficiency": quantity(0.8, "share"), "turn_time": quantity(20.0, "s"),
                "fitting_time": quantity(12.0, "min"),
            },
            "prices": {
                "currency": "AUD", "fuel_per_l": money, "labour_per_h": money, "grain_per_t": money,
                "wear_per_ha": money, "lime_per_t": money, "gypsum_per_t": money, "spreading_per_ha": money,
                "discount_rate": quantity(0.07, "share/year"), "housing_insurance_tax": quantity(0.02, "share"),
                "lubricant_share": quantity(0.15, "share"), "labour_factor": quantity(1.1, "1"),
                "remaining_value": {}, "repair": {}, "extra_zone": money,
            },
            "rotation": ["wheat"], "crops": {"wheat": {
                "says": "wheat", "sowing_depth": quantity(30.0, "mm"), "needs_firm_seedbed": False,
                "gain_factor": quantity(1.0, "1"),
            }},
            "available_water": {},
            "references": {
                "somebody1999": {
                    "authors": "Somebody & <i>Other</i>", "year": 1999, "title": "On \"pans\"", "where": "A journal",
                    "standing": "read",
                }
            },
        },
        file="catalog",
    )  # fmt: skip


@pytest.fixture(scope="session")
def survey() -> Survey:
    rng = np.random.default_rng(7)
    n = 24
    east, north = EAST + rng.uniform(20, 580, n), NORTH + rng.uniform(20, 380, n)
    depth = np.tile(np.arange(25.0, 625.0, 25.0), (n, 1))
    cone = 800 + 2600 * np.exp(-(((depth - 280) / 90) ** 2)) + rng.normal(0, 120, depth.shape)
    cone[:4, 14:] = np.nan
    site = [f"S{k // 2:02d}" for k in range(n)]
    readings = xr.Dataset(
        {
            "depth_mm": (("insertion", "sample"), depth),
            "thickness_mm": (("insertion", "sample"), np.zeros_like(depth)),
            "cone_index_kpa": (("insertion", "sample"), cone),
            "at_least": (("insertion", "sample"), np.zeros(depth.shape, dtype=bool)),
        },
        coords={
            "insertion": [f"{s}-{k % 2}" for k, s in enumerate(site)],
            "site": ("insertion", site),
            "replicate": ("insertion", np.arange(n) % 2),
            "x_m": ("insertion", east),
            "y_m": ("insertion", north),
            "date": ("insertion", ["2026-05-01"] * n),
            "stop": ("insertion", ["refusal"] * 4 + ["rod end"] * (n - 4)),
            "stop_mm": ("insertion", [350.0] * 4 + [600.0] * (n - 4)),
            "source_file": ("insertion", ["probes.csv"] * n),
            "source_row": ("insertion", np.arange(n) + 2),
        },
    )
    soils = gpd.GeoDataFrame(
        {"soil_type": [SAND, DUPLEX], "label": ["Sand", "Duplex"], "clay_depth_mm": [np.nan, 450.0]},
        geometry=[at(0, 0, 240, 400), at(240, 0, 600, 400)],
        crs=CRS,
    )
    exclusions = gpd.GeoDataFrame(
        {"name": ["=2+5 pipe <u>"], "kind": ["service"], "buried": [True], "buffer_m": [5.0]}, geometry=[PIPE], crs=CRS
    )
    return Survey(
        paddock=Paddock(
            name=NASTY, boundary=gpd.GeoSeries([at(0, 0, 600, 400)], crs=CRS), area_ha=24.0, exclusions=exclusions
        ),
        probed=Profiles(readings=readings, depth_limit_mm=600.0),
        soils=soils,
        cores=gpd.GeoDataFrame({"core": [], "soil_type": []}, geometry=[], crs=CRS),
        frame=FRAME,
        covariates=xr.Dataset(),
        crs=CRS,
        datum_moves=(
            DatumMove(file="probes.csv", from_crs="EPSG:4326", to_crs="EPSG:32750", operation="UTM zone 50S",
                      accuracy_m=0.0),
        ),
        digests=pd.Series({"probes.csv": "ab" * 32}),
        issues=(
            Issue(stage="survey", code="duplicate", what="=cmd|' /C calc'!A0 and <i>row 3</i>",
                  done="dropped", file="probes.csv", place="row 3"),
        ),
    )  # fmt: skip


@pytest.fixture(scope="session")
def pan(survey: Survey) -> PanFeatures:
    readings = survey.profiles.readings
    n = readings.sizes["insertion"]
    censored = np.arange(n) < 4
    insertions = gpd.GeoDataFrame(
        {
            "insertion": readings["insertion"].to_numpy(), "site": readings["site"].to_numpy(), "date": "2026-07-01",
            "state": "present",
            "soft_to_mm": np.nan, "missed": 0.0, "top_sd_mm": 8.0,
            "top_mm": 180.0, "bottom_mm": np.where(censored, np.nan, 380.0),
            "bottom_kind": np.where(censored, "right-censored", "observed"),
            "bottom_low_mm": np.where(censored, 350.0, 370.0), "bottom_high_mm": np.where(censored, np.inf, 390.0),
            "bottom_sd_mm": 10.0, "peak_kpa": 3400.0, "peak_kind": np.where(censored, "right-censored", "observed"),
            "peak_sd_kpa": np.nan, "doubt": 0.0, "peak_depth_mm": 280.0, "excess_kpa_mm": 90_000.0,
            "seen": np.where(censored, "refusal", "closed"), "reached_mm": np.where(censored, 350.0, 600.0),
            "layer_mm": 180.0, "next_mm": np.nan,
        },
        geometry=[Point(x, y) for x, y in zip(readings["x_m"].values, readings["y_m"].values, strict=True)],
        crs=CRS,
    )  # fmt: skip
    return PanFeatures(
        insertions=insertions,
        threshold_kpa=2500.0,
        excess_shape=np.full(10, 0.1),
        slices=pd.DataFrame({50.0: np.full(n, 900.0), 150.0: np.full(n, 1500.0)}, index=insertions["insertion"]),
        sensitivity=pd.DataFrame(
            {"threshold_kpa": [1500.0, 2500.0], "present_share": [1.0, 0.9], "top_mm": [140.0, 180.0],
             "bottom_mm": [430.0, 380.0], "censored_share": [0.3, 0.17]}
        ),
        dates=pd.DataFrame({"date": ["2026-05-01"], "insertions": [n], "mean_kpa": [1700.0], "present_share": [1.0]}),
    )  # fmt: skip


@pytest.fixture(scope="session")
def surfaces() -> Surfaces:
    east, north = np.meshgrid((FRAME.x_m - EAST) / 600, (FRAME.y_m - NORTH) / 400)
    maps = {
        "pan_probability": 0.9 - 0.3 * east, "pan_top_mm": 150 + 40 * north, "pan_top_sd_mm": 20 + 0 * east,
        "pan_bottom_mm": 280 + 150 * east, "pan_bottom_sd_mm": 25 + 20 * north, "peak_kpa": 3000 + 500 * east,
        "peak_sd_kpa": 200 + 0 * east, "clay_depth_mm": np.full(FRAME.shape, np.nan),
        "clay_depth_sd_mm": np.full(FRAME.shape, np.nan), "soil": np.round(east),
    }  # fmt: skip
    nodes = xr.Dataset(
        {
            "present": (("draw", "node"), np.ones((N_DRAWS, 4), dtype=bool)),
            "top_mm": (("draw", "node"), np.full((N_DRAWS, 4), 150.0, dtype="float32")),
            "bottom_mm": (("draw", "node"), np.full((N_DRAWS, 4), 350.0, dtype="float32")),
            "peak_kpa": (("draw", "node"), np.full((N_DRAWS, 4), 3200.0, dtype="float32")),
            "clay_mm": (("draw", "node"), np.full((N_DRAWS, 4), np.nan, dtype="float32")),
        },
        coords={
            "x_m": ("node", EAST + np.array([150.0, 450, 150, 450])),
            "y_m": ("node", NORTH + np.array([300.0, 300, 100, 100])),
            "soil": ("node", [0, 1, 0, 1]),
            "clay_depth_mm": ("node", np.full(4, np.nan)),
        },
    )
    node_of_cell = 2 * (north < 0.5).astype(np.int64) + (east > 0.5)
    methods = ("kriging", "soil-type mean", "inverse distance")
    return Surfaces(
        frame=FRAME,
        inside=np.ones(FRAME.shape, dtype=bool),
        maps=xr.Dataset(
            {name: (("y", "x"), values) for name, values in maps.items()}, coords={"x": FRAME.x_m, "y": FRAME.y_m}
        ),
        soil_types=(SAND, DUPLEX),
        slices=xr.DataArray(np.zeros((0, *FRAME.shape)), dims=("depth", "y", "x")),
        draws=nodes,
        node_of_cell=node_of_cell,
        errors=None,
        scores=pd.DataFrame(
            {"variable": "bottom", "method": methods, "folds": "site", "n": 12, "rmse": [31.0, 38.0, 35.0],
             "bias": [1.0, -2.0, 0.5], "crps": [17.0, 21.0, np.nan], "coverage_50": [0.52, 0.5, np.nan],
             "coverage_90": [0.88, 0.9, np.nan], "unit": "mm"}
        ),
        models=pd.DataFrame(
            {"variable": ["bottom"], "family": ["exponential"], "range_m": [150.0], "ratio": [1.0],
             "heading_deg": [np.nan], "short_share": [0.0], "short_range_m": [np.nan], "sill": [900.0],
             "micro": [100.0], "noise": [120.0], "range_se_m": [60.0], "sill_se": [300.0], "loglik": [-88.0],
             "aic": [186.0], "n": [24], "n_censored": [4], "identified": [True], "trend": ["soil"]}
        ),
        variograms=pd.DataFrame(
            {"variable": "bottom", "lag_m": [30.0, 80.0, 150.0], "semivariance": [350.0, 700.0, 1050.0],
             "pairs": [40, 90, 60], "model": [380.0, 720.0, 1010.0], "reml": [400.0, 690.0, 980.0]}
        ),
        residuals=pd.DataFrame(
            {"variable": ["bottom", "bottom"], "site": ["1", "2"], "insertion": ["1a", "2a"], "x_m": EAST + 150.0,
             "y_m": NORTH + 300.0, "observed_low": [380.0, 350.0], "observed_high": [380.0, np.inf],
             "predicted": [371.2504, 402.5], "sd": [31.5, 44.0], "predicted_low": [319.4, 330.1],
             "predicted_high": [423.1, 474.9], "residual": [-8.7496, np.nan], "crps": [9.1, 4.2], "unit": "mm"}
        ),
        verdict=MapVerdict(
            yardstick="soil-type mean", gain=0.11, better=True, sd_mm=42.0, asked_mm=30.0, more_sites=20,
            reached_mm=29.0,
        ),
    )  # fmt: skip


@pytest.fixture(scope="session")
def zones() -> Zones:
    labels = np.where(FRAME.x_m[None, :] < EAST + 240, 1, 2) * np.ones((FRAME.n_rows, 1), dtype=np.int64)
    east, north = np.meshgrid(FRAME.x_m, FRAME.y_m)
    labels[shapely.contains_xy(GROUND[2], east, north)] = 3
    labels[shapely.contains_xy(PIPE, east, north)] = 4
    table = gpd.GeoDataFrame(
        {
            "zone": [1, 2, 3, 4], "kind": ["ground"] * 3 + ["exclusion"],
            "soil_type": [SAND, DUPLEX, SAND, "=2+5 pipe <u>"], "area_ha": [g.area / 1e4 for g in GROUND],
            "length_m": 300.0, "heading_deg": 0.0, "headland_ha": 0.0,
        },
        geometry=GROUND,
        crs=CRS,
    )  # fmt: skip
    indices = pd.DataFrame(
        {"count": [1, 2, 3], "silhouette": [np.nan, 0.5, 0.4], "variance_reduction": [0.0, 0.6, 0.7],
         "net_gain": [0.0, 900.0, 850.0], "chosen": [False, True, False]}
    )  # fmt: skip
    count = CountReason(
        classes=2, net_gain=900.0, given=False, further_loss=50.0, zone_cost=20.0, least_ha=0.5, least_m=25.0
    )
    return Zones(
        frame=FRAME, labels=labels, classes=labels - 1, table=table, indices=indices, lift_m=20.0, change_m=5.0,
        count=count,
    )  # fmt: skip


@pytest.fixture(scope="session")
def plan(zones: Zones) -> Plan:
    nan = np.nan
    table = zones.table.drop(columns=["length_m", "heading_deg", "headland_ha"]).assign(
        depth_mm=[300, 450, 0, 0], setup=["plain", "winged", "", ""], spacing_mm=[600.0, 600.0, nan, nan],
        speed_kmh=[5.5, 4.5, nan, nan], passes=[1, 1, 0, 0],
        runner_up_cost_per_ha=[4.0, 7.0, 12.0, nan],
        breach_probability=[0.93, 0.85, nan, nan], loosened_share=[0.8, 0.75, nan, nan],
        net_per_ha=[140.0, 90.0, 0.0, 0.0], net_low_per_ha=[30.0, -40.0, 0.0, 0.0],
        net_high_per_ha=[260.0, 210.0, 0.0, 0.0], loss_probability=[0.02, 0.14, nan, nan],
    )  # fmt: skip
    table = gpd.GeoDataFrame(table, geometry="geometry", crs=CRS)
    pull = Pull(tines=7, all_tines=7, passes=1, short_of=Held(limit=Limit.SPEED))
    near = Ripped(
        depth_mm=300,
        setup="plain",
        pan_probability=0.95,
        bottom_mm=(260.0, 240.0, 280.0),
        net_per_ha=140.0,
        pull=pull,
        loosened=0.8,
    )
    deep = replace(near, depth_mm=450, setup="winged", bottom_mm=(385.0, 360.0, 410.0), net_per_ha=90.0)
    best = Alternative(depth_mm=300, setup="plain", cost_per_ha=80.0, gain_per_ha=20.0)
    turn = Turn(needed_t_per_ha=0.21, pays=True, better_share=0.3)
    runner_up = [Alternative(depth_mm=depth, setup=name) for depth, name in ((350, "plain"), (400, "winged"))]
    reasons = (
        Reason(zone=1, why=near, runner_up=runner_up[0], change=turn),
        Reason(zone=2, why=deep, runner_up=runner_up[1], change=turn, unmended=("acidity",)),
        Reason(zone=3, why=Left(soil_type=SAND, responds=True, pan_probability=0.7, best=best), runner_up=best,
               change=Open(by=Opening.GAIN, needed_t_per_ha=0.9)),
        Reason(zone=4, why=Closed(name="=2+5 pipe <u>", kept_m=5.0)),
    )  # fmt: skip
    options = [("", 0), ("plain", 300), ("winged", 450)]
    return records.plan(
        table,
        np.linspace(-500, 2000, 4 * N_DRAWS).reshape(4, N_DRAWS),
        reasons=reasons,
        machine=pd.DataFrame(
            {"zone": [1, 2], "tines": [7, 7], "width_m": [4.2, 4.2], "equation_kn": [50.0, 70.0],
             "draft_kn": [95.0, 140.0],
             "drawbar_kw": [145.0, 175.0], "engine_kw": [215.0, 280.0], "slip": [0.06, 0.09],
             "fuel_l_per_ha": [18.0, 29.0], "hours_per_ha": [0.54, 0.66], "field_efficiency": [0.8, 0.8],
             "critical_depth_mm": [360.0, 600.0], "limited_by": ["speed window", "engine power"]}
        ),
        conditions=(
            Condition(zone=1, met=Met.UNKNOWN, constraint="acidity", missing=("ph_0_100",), cores=0),
            Condition(zone=2, met=Met.YES, constraint="acidity", known={"ph_0_100": 4.3}, cores=1,
                      spread=Spread(item="lime", soil_type=DUPLEX, rate=None, ripped=True)),
        ),
        moisture=pd.DataFrame(
            {"zone": [1, 2], "depth_mm": [300, 450], "verdict": ["ready", "not known"], "known": ["dug or probed",
             "not given"], "moist_depth_mm": [500.0, nan], "rain_needed_mm": [0.0, nan], "rain_mm": nan}
        ),
        candidates=pd.DataFrame(
            [
                {"zone": zone, "option": k, "setup": setup, "depth_mm": depth, "net_per_ha": 140.0 - 10 * k,
                 "cost_per_ha": 50.0 + depth / 10, "loosened_share": depth / 500, "breach_probability": depth / 500,
                 "allowed": True, "limit": ""}
                for zone in (1, 2, 3)
                for k, (setup, depth) in enumerate(options)
            ]
        ),
        makeup=records.makeup(
            table, soil_types=(SAND, DUPLEX), n_options=3,
            gain=np.array([0.0, 220.0, 200.0])[None, :, None] * np.array([[[1.0, 0.0]]] * 2 + [[[0.0, 0.0]]] * 2),
            other=np.tile([0.0, 80.0, 110.0], (4, 1)), hours=np.tile([0.0, 0.5, 0.6], (4, 1)),
            fuel_l=np.tile([0.0, 18.0, 29.0], (4, 1)), eligible=np.array([[False, True, True]] * 2 + [[False] * 3] * 2),
        ),
        defaults=pd.DataFrame(
            {"key": ["soils.gain"], "value": [0.5], "unit": ["t/ha"], "source": ["unverified"],
             "standing": ["unverified"]}
        ),
        setting_up=(
            Step(topic=Topic.LEADING, source="common practice", setup="winged",
                 figures={"share": 0.6, "low_mm": 270.0, "high_mm": 270.0}),
        ),
    )  # fmt: skip


@pytest.fixture(scope="session")
def ledger(plan: Plan) -> Ledger:
    rows, parts = [], {"labour": 10, "tractor ownership": 12, "ripper ownership": 8, "cost": 60}
    for zone, area in zip(plan.zones["zone"], plan.zones["area_ha"], strict=True):
        ripped = plan.zones.set_index("zone").loc[zone, "depth_mm"] > 0
        rows.append((str(zone), "area", area, "ha", np.nan, np.nan, np.nan, np.nan))
        if ripped:
            rows.append((str(zone), "fuel", 20 * area, "L", 1.5, 30 * area, 25 * area, 40 * area))
            rows.append((str(zone), "hours", 0.6 * area, "h", np.nan, np.nan, np.nan, np.nan))
            rows += [(str(zone), item, area, "ha", a, a * area, a * area, a * area) for item, a in parts.items()]
    lines = pd.DataFrame(rows, columns=["zone", "item", "quantity", "unit", "price", "amount", "low", "high"])
    total = lines.groupby(["item", "unit"], as_index=False)[["quantity", "amount", "low", "high"]].sum(min_count=1)
    lines = pd.concat([lines, total.assign(zone="total", price=np.nan)[list(lines.columns)]], ignore_index=True)
    return Ledger(
        lines=lines,
        strategies=pd.DataFrame(
            {"strategy": ["prescription", "uniform at the machine's usual depth", "no ripping"],
             "depth_mm": [np.nan, 400.0, 0.0],
             "ripped_ha": [21.84, 23.84, 0.0], "cost": [1300.0, 1600.0, 0.0], "fuel_l": [440.0, 560.0, 0.0],
             "hours": [13.0, 15.0, 0.0], "benefit": [3400.0, 3450.0, 0.0], "net": [2100.0, 1850.0, 0.0],
             "net_low": [-300.0, -700.0, 0.0], "net_high": [5200.0, 5000.0, 0.0], "loss_probability": [0.08, 0.12, 0.0],
             "worse_probability": [0.0, 0.6, 0.9]}
        ),
        investment=pd.DataFrame(
            {"zone": ["1", "2", "total"], "npv_per_ha": [140.0, 90.0, 110.0], "payback_seasons": [1.25, np.nan, 1.0],
             "break_even_t_per_ha": [0.2, 0.3, 0.25], "gain_t_per_ha": [0.4, 0.35, 0.4],
             "break_even_first_year_t_per_ha": [0.15, 0.2, 0.17], "lime_removed_kg_per_ha": [4.0, 3.5, 4.0]}
        ),
        when_again=pd.DataFrame(
            {"zone": ["1", "2"], "seasons_low": [2, 2], "seasons_high": [4, 3], "depth_mm": [400, 450],
             "costs_rise": [True, False], "soil_type": [SAND, DUPLEX], "controlled_traffic": [False, True],
             "next_depth": ["deeper", "nothing deeper"], "limit": ["depth of moist soil", ""], "deepest_mm": 600.0,
             "deeper_mm": [100.0, 0.0], "between_mm": np.nan, "between_seasons": np.nan, "between_per_ha": np.nan,
             "draft_low": [0.3, 0.0], "draft_high": [0.5, 0.0], "last_ripped": np.nan, "seasons_since": np.nan,
             "last_depth_mm": np.nan}
        ),
        drivers=pd.DataFrame(),
        totals={
            "net return": Total(quantity=21.84, unit="ha", amount=2100.0, low=-300.0, high=5200.0,
                                shared=np.array([100.0, 4100.0]), own=np.array([-400.0, 400.0])),
        },
        hours=13.0,
        days=1.3,
        seasons=(3.0, 3.0),
        open_ha=0.0,
        hiring=Hiring(cheaper=Cheaper.LEVEL, own=60.0, hired=50.0, owning=20.0, low=-5.0, high=25.0, quoted=False),
    )  # fmt: skip


@pytest.fixture(scope="session")
def options() -> Options:
    table = pd.DataFrame(
        {"option": ["leave", "a", "b"], "setup": ["", "plain", "winged"], "depth_mm": list(DEPTHS),
         "spacing_mm": [np.nan, 600.0, 600.0], "feasible": True}
    )  # fmt: skip
    grid = np.tile(np.array([0.0, 0.7, 0.9]), (4, 1))
    return records.options(
        100 * grid, n_draws=N_DRAWS, table=table, cost=60 * grid, loosened=grid, breach=grid, node_ha=np.full(4, 6.0)
    )


@pytest.fixture(scope="session")
def run(  # noqa: PLR0917
    survey: Survey, pan: PanFeatures, surfaces: Surfaces, catalog: Catalog, options: Options, zones: Zones, plan: Plan,
    ledger: Ledger,
) -> PaddockRun:  # fmt: skip
    rates = Rates(
        scenarios=xr.Dataset(),
        currency="AUD",
        worth=pd.DataFrame({"soil_type": [SAND, DUPLEX], "first_year_t_per_ha": [0.5, 0.4], "low": [0.2, 0.1],
                            "high": [0.9, 0.8], "seasons": [3.0, 3.0], "present_value_per_ha": [250.0, 190.0]}),
        by_season=pd.DataFrame({"soil_type": [SAND, DUPLEX], "season": 1, "money_per_ha": [100.0, 80.0]}),
    )  # fmt: skip
    trail = Trail(
        version="0.1.0", versions=pd.Series({"numpy": np.__version__}),
        settings={"paddock": {"name": NASTY, "seed": 1}},
        settings_digest="cd" * 32, inputs=pd.Series({"probes.csv": "ab" * 32}), seed=1,
        started="2026-11-25T08:00:00+00:00", timings_s=pd.Series({"survey": 1.0}),
    )  # fmt: skip
    return PaddockRun(
        survey=survey, pan=pan, surfaces=surfaces, catalog=catalog, rates=rates, options=options, zones=zones,
        plan=plan, ledger=ledger, trail=trail,
        moves=pd.DataFrame({"key": ["prices.labour_per_h"], "money": [350.0]}),
    )  # fmt: skip


@pytest.fixture(scope="session")
def unripped(run: PaddockRun, plan: Plan) -> PaddockRun:
    """The same run where nothing is worth ripping."""
    table = plan.zones.assign(depth_mm=0, setup="", spacing_mm=np.nan, speed_kmh=np.nan, passes=0)
    left = Left(soil_type=SAND, responds=False, pan_probability=0.1, best=None)
    reasons = tuple(reason if isinstance(reason.why, Closed) else replace(reason, why=left) for reason in plan.reasons)
    idle = replace(plan, zones=table, reasons=reasons, machine=plan.machine.iloc[:0])
    ways = run.ledger.strategies.assign(ripped_ha=[0.0, 23.84, 0.0])
    return replace(run, plan=idle, ledger=replace(run.ledger, strategies=ways))


@pytest.fixture(scope="session")
def words(run: PaddockRun) -> Words:
    """English in the units of the files."""
    return speak(Units.of_files("AUD"), run.catalog)


@pytest.fixture(scope="session")
def told(run: PaddockRun, words: Words) -> gpd.GeoDataFrame:
    """The zones of the plan with what is said of them."""
    return told_zones(run.plan, words)
