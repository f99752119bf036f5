"""Open strip trials and yield points through the whole command, and what is known of them from elsewhere.

The nitrogen strips of `lasrosas2004` repeat one randomisation three times; the maize field of `agridat-gartner` and the
alfalfa of four cuts are monitor points nobody cleaned.
"""

import json

import numpy as np
import pandas as pd
import pytest
import shapely
from typer.testing import CliRunner

from hardpan.cli import app


def trial(folder):
    done = CliRunner().invoke(app, ["trial", str(folder / "trial.toml"), "--out", str(folder / "out")])
    assert done.exit_code == 0, done.output
    return pd.read_csv(folder / "out" / "trial.csv"), pd.read_csv(folder / "out" / "cleaning.csv"), done.output


def lay(folder, boxes):
    features = [
        {"type": "Feature", "properties": given, "geometry": shapely.geometry.mapping(shape)} for given, shape in boxes
    ]
    (folder / "strips.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))


@pytest.mark.slow
def test_nitrogen_strips_of_maize(tmp_path, open_data):
    """Strips of no and of most nitrogen: three pairs, difference 9.27 q/ha of their means (computed from the data of
    `lasrosas2004`). An interval that takes 500 points for independent would be a quarter as wide.
    """
    path = open_data("strip_trial") / "nitrogen_strips_maize.txt"
    rows = pd.read_csv(path, sep="\t").query("year == 1999")
    boxes = []
    for pair, rep in enumerate(("R1", "R2", "R3"), start=1):
        for nitrogen, treatment in (("N0", "unripped"), ("N5", "ripped")):
            own = rows[(rows["rep"] == rep) & (rows["nf"] == nitrogen)]
            shape = shapely.buffer(shapely.MultiPoint(own[["long", "lat"]].to_numpy()).convex_hull, 2e-5)
            boxes.append(({"treatment": treatment, "pair": pair}, shape))
    lay(tmp_path, boxes)
    (tmp_path / "trial.toml").write_text(
        f'[trial]\nstrips = "strips.geojson"\npoints = "{path}"\nyield_unit = "q/ha"\nclean = false\n'
        '[trial.only]\nyear = "1999"\n'
    )
    effects, _, _ = trial(tmp_path)
    found = effects.set_index("method")
    assert found.loc["paired", "effect"] == pytest.approx(0.927, abs=5e-3)  # t/ha; hulls may take a neighbour's point
    assert found.loc["spatial", "low"] < 0.927 < found.loc["spatial", "high"]
    assert found.loc["spatial", "low"] > 0
    ripped, left = (rows.loc[rows["nf"] == name, "yield"] / 10 for name in ("N5", "N0"))
    plain = 2 * 1.645 * np.sqrt(ripped.var() / len(ripped) + left.var() / len(left))
    assert found.loc["spatial", "high"] - found.loc["spatial", "low"] > 2 * plain


@pytest.mark.slow
def test_monitor_points_of_one_maize_field(tmp_path, open_data):
    """4,949 points; strips laid over a field of one treatment, so that nothing may be found but by chance."""
    path = open_data("yield_points") / "maize_one_field.txt.gz"
    rows = pd.read_csv(path, sep="\t", compression="gzip")
    west, south, east, north = (
        rows["long"].quantile(0.1), rows["lat"].quantile(0.1), rows["long"].quantile(0.9), rows["lat"].quantile(0.9),
    )  # fmt: skip
    wide = (east - west) / 8
    lay(
        tmp_path,
        [
            (
                {"treatment": ("ripped", "unripped")[(at + at // 2) % 2], "pair": at // 2 + 1},
                shapely.box(west + at * wide, south, west + (at + 1) * wide, north),
            )
            for at in range(8)
        ],
    )
    (tmp_path / "trial.toml").write_text(
        f'[trial]\nstrips = "strips.geojson"\npoints = "{path}"\ncrop = "maize"\n[trial.columns]\nflow = "mass"\n'
        '[trial.flow]\nflow_unit = "lb/s"\ndistance_unit = "in"\nswath_m = "360 in"\nmarket_moisture_pct = 15.5\n'
    )
    effects, cleaning, _ = trial(tmp_path)
    used = effects.set_index("method").loc["spatial", "points"]
    assert used + cleaning["points"].sum() == len(rows) == 4949
    # of every ten points one to five carry errors (common practice of cleaning); those off the strips come on top
    off = cleaning.set_index("rule")["points"].get("not on a strip", 0)
    assert 0.02 * len(rows) < cleaning["points"].sum() - off < 0.5 * len(rows)
    assert {"speed out of range", "grain moisture out of range", "far from all others"} <= set(cleaning["rule"])


@pytest.mark.slow
def test_one_cut_of_alfalfa(tmp_path, open_data):
    """Points of one cut of a file that holds four, without times: nothing can be said of passes."""
    path = open_data("yield_points") / "alfalfa_4_cuts.txt.gz"
    rows = pd.read_csv(path, sep="\t", compression="gzip").query('harvest == "H8"')
    x, y = rows["long"], rows["lat"]
    west, east, south, north = x.min(), x.max(), y.min(), y.max()
    wide = (east - west) / 6
    lay(
        tmp_path,
        [
            (
                {"treatment": ("ripped", "unripped")[at % 2], "pair": at // 2 + 1},
                shapely.box(west + at * wide, south, west + (at + 1) * wide, north),
            )
            for at in range(6)
        ],
    )
    (tmp_path / "trial.toml").write_text(
        f'[trial]\nstrips = "strips.geojson"\npoints = "{path}"\nyield_unit = "t/ha"\n[trial.only]\nharvest = "H8"\n'
    )
    effects, cleaning, _ = trial(tmp_path)
    assert effects["points"].iloc[0] + cleaning["points"].sum() == len(rows)
    assert effects.set_index("method").loc["paired", "strips"] == 6
    assert not {"start of a pass", "speed out of range"} & set(cleaning["rule"])
