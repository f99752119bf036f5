"""Trials made by hand: strips side by side, points on them, and the files of both."""

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.records.trial import Harvest, TrialInputs, TrialSettings, TrialStrips

ASKED = TrialSettings(strips=Path("strips"), points=Path("points"), crs="local metres", yield_unit="t/ha", clean=False)


def strips(pairs=4, zones=1, wide_m=10.0, long_m=200.0, depths=(400.0,)):
    """Pairs of strips from west to east, the ripped one first in every second pair."""
    rows = []
    for at in range(2 * pairs):
        pair = at // 2 + 1
        zone = 1 + (pair - 1) * zones // pairs
        rows.append(
            {
                "strip": at + 1,
                "treatment": ("ripped", "unripped")[(at + pair) % 2],
                "pair": pair,
                "zone": zone,
                "depth_mm": depths[(zone - 1) % len(depths)],
                "soil_type": "",
                "geometry": shapely.box(at * wide_m, 0.0, (at + 1) * wide_m, long_m),
            }
        )
    return gpd.GeoDataFrame(rows)


def points(table, *, effect=0.5, noise=0.2, strip_sd=0.1, every_m=5.0, seed=1, timed=False):
    """Points along the middle of each strip; with `timed`, up one strip and down the next, a second apart."""
    rng, rows, clock = np.random.default_rng(seed), [], 0.0
    for at, row in enumerate(table.to_dict("records")):
        west, south, east, north = row["geometry"].bounds
        y = np.arange(south + every_m / 2, north, every_m)
        y = y[::-1] if at % 2 else y
        gain = effect[row["zone"]] if isinstance(effect, dict) else effect
        level = 2.0 + strip_sd * rng.standard_normal() + gain * (row["treatment"] == "ripped")
        rows.append(
            pd.DataFrame(
                {
                    "x_m": (west + east) / 2,
                    "y_m": y,
                    "value": level + noise * rng.standard_normal(len(y)),
                    "time_s": clock + np.arange(len(y)) if timed else np.nan,
                    "speed_ms": np.nan,
                    "swath_m": np.nan,
                    "moisture_pct": np.nan,
                }
            )
        )
        clock += len(y) + 60.0
    return pd.concat(rows, ignore_index=True)


def inputs(table, harvest, unit="t/ha"):
    """What a trial reads."""
    return TrialInputs(
        strips=TrialStrips(table=table, crs=None),
        harvest=Harvest(points=harvest, unit=unit),
        digests=pd.Series(dtype=object),
    )


def write(folder, table, harvest, **asked):
    """Trial file with its strips and points, in local metres unless told otherwise; its path."""
    features = [
        {
            "type": "Feature",
            "properties": {key: value for key, value in row.items() if key not in {"geometry", "strip"}},
            "geometry": shapely.geometry.mapping(row["geometry"]),
        }
        for row in table.to_dict("records")
    ]
    (folder / "strips.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    harvest.rename(columns={"value": "yield"})[["x_m", "y_m", "yield"]].to_csv(folder / "yield.csv", index=False)
    settings = {"strips": "strips.geojson", "points": "yield.csv", "crs": "local metres", "yield_unit": "t/ha"} | asked
    lines = [f"{key} = {json.dumps(value)}" for key, value in settings.items() if value is not None]
    path = folder / "trial.toml"
    path.write_text("[trial]\n" + "\n".join(lines) + '\n[trial.columns]\nx = "x_m"\ny = "y_m"\n')
    return path
