"""The strip study: ripped and unripped strips laid at random over fields of one treatment, where the effect is 0.

Every file of the open uniformity trials is a field on which nothing was varied, harvested plot by plot: whatever strips
are laid over it, their true effect is 0. Run `make truth`, or `python -m truth.strips [layouts] [files]`; prints the
table of tests/README.md. The data lie beside the repository.

`python -m truth.strips power [layouts] [files]` adds an effect to the ripped strips: as large as the layout promises to
find with a chance of `POWER`, given how much neighbouring strips of that width differ on that field.
"""

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.stats import ttest_ind

from hardpan.records.trial import Harvest, Method, TrialInputs, TrialSettings, TrialStrips
from hardpan.strips.stage import detectable
from hardpan.trials.stage import evaluate_trial

DATA = Path(__file__).parents[3] / "shared" / "data" / "uniformity"

LAYOUTS, POWER_LAYOUTS = 200, 40

POWER, LEVEL = 0.8, 0.9
"""Chance that a layout promises to find the effect that is added, and level of the interval that has to leave out 0."""

LEAST_LINES, MOST_WIDE = 8, 4
"""Fewest rows of plots that strips are laid side by side over; most rows in one strip."""

SETTINGS = TrialSettings(
    strips=Path("strips"), points=Path("plots"), crs="local metres", yield_unit="as given", clean=False
)


def lay(field: pd.DataFrame, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Three to six pairs of neighbouring strips along either side of the field, anywhere, treatments by lot."""
    sides = [
        (across, along, lines)
        for across, along in (("x_m", "y_m"), ("y_m", "x_m"))
        if len(lines := np.sort(field[across].unique())) >= LEAST_LINES
    ]
    across, along, lines = sides[rng.integers(len(sides))]
    pairs = min(int(rng.integers(3, 7)), len(lines) // 2)
    wide = int(rng.integers(1, min(len(lines) // (2 * pairs), MOST_WIDE) + 1))
    free = len(lines) - 2 * wide * pairs
    starts = np.sort(rng.integers(0, free + 1, pairs)) + 2 * wide * np.arange(pairs)
    half = float(np.median(np.diff(lines))) / 2
    low, high = field[along].min() - 1.0, field[along].max() + 1.0
    rows = []
    for pair, start in enumerate(starts, start=1):
        for treatment, first in zip(rng.permutation(["ripped", "unripped"]), (start, start + wide), strict=True):
            ends = lines[first] - 0.99 * half, lines[first + wide - 1] + 0.99 * half
            box = (ends[0], low, ends[1], high) if across == "x_m" else (low, ends[0], high, ends[1])
            rows.append({"treatment": str(treatment), "pair": pair, "geometry": shapely.box(*box)})
    table = gpd.GeoDataFrame(rows).assign(strip=np.arange(1, 2 * pairs + 1), zone=0, depth_mm=np.nan, soil_type="")
    return table[["strip", "treatment", "pair", "zone", "depth_mm", "soil_type", "geometry"]]


def judge(field: pd.DataFrame, strips: gpd.GeoDataFrame, added: float = 0.0) -> dict[str, float]:
    """Whether the intervals of one layout hold the effect added to its ripped strips, and how wide they are."""
    missing = dict.fromkeys(("time_s", "speed_ms", "swath_m", "moisture_pct"), np.nan)
    ripped = shapely.union_all(strips.geometry[strips["treatment"] == "ripped"].to_numpy())
    on = shapely.contains_xy(ripped, field["x_m"], field["y_m"])
    points = pd.DataFrame({"x_m": field["x_m"], "y_m": field["y_m"], "value": field["yield"] + added * on, **missing})
    inputs = TrialInputs(
        strips=TrialStrips(table=strips, crs=None), harvest=Harvest(points=points, unit="as given"),
        digests=pd.Series(dtype=object),
    )  # fmt: skip
    result = evaluate_trial(inputs, SETTINGS)
    found = result.effects.set_index("method")
    by = result.points.assign(ripped=result.points["strip"].isin(strips["strip"][strips["treatment"] == "ripped"]))
    plain = ttest_ind(by.loc[by["ripped"], "value"], by.loc[~by["ripped"], "value"]).confidence_interval(0.9)
    mean = field["yield"].mean()
    out = {"pairs": len(strips) / 2}
    for method in (Method.SPATIAL, Method.PAIRED):
        row = found.loc[method]
        out[f"{method}_holds"] = float(row["low"] <= added <= row["high"])
        out[f"{method}_finds"] = float(row["low"] > 0 or row["high"] < 0)
        out[f"{method}_width"] = float(row["high"] - row["low"]) / mean
    return out | {
        "plain_holds": float(plain.low <= added <= plain.high),
        "plain_width": (plain.high - plain.low) / mean,
    }


def run(files: list[Path], layouts: int, *, seed: int = 2026) -> pd.DataFrame:
    """One row a field and layout."""
    rows = []
    for path in files:
        field, rng = pd.read_csv(path), np.random.default_rng([seed, *path.stem.encode()])
        rows += [{"field": path.stem, **judge(field, lay(field, rng))} for _ in range(layouts)]
    return pd.DataFrame(rows)


def strip_cv(field: pd.DataFrame, strips: gpd.GeoDataFrame) -> float:
    """Standard deviation between neighbouring strips as wide as those laid, over sqrt 2, as a share of the mean yield.

    From all places such a pair could have on the field, as somebody would know it who had harvested the field before.
    """
    west, south, east, north = strips.geometry.iloc[0].bounds
    across, ends = ("x_m", (west, east)) if north - south > np.ptp(field["y_m"]) else ("y_m", (south, north))
    lines = field.groupby(across)["yield"].mean()
    wide = int(lines.index.to_series().between(*ends).sum())
    strip = lines.rolling(wide).mean()
    apart = (strip - strip.shift(wide)).dropna()
    return float(np.sqrt((apart**2).mean() / 2.0) / field["yield"].mean())


def promised(field: pd.DataFrame, strips: gpd.GeoDataFrame) -> float:
    """Effect, in the unit of yield, that a layout promises to find with the chance `POWER`."""
    cv = strip_cv(field, strips)
    return detectable(len(strips) // 2, cv, level=LEVEL, power=POWER) * float(field["yield"].mean())


def run_power(files: list[Path], layouts: int, *, seed: int = 2027) -> pd.DataFrame:
    """One row a field and layout to which the effect was added that it promises to find."""
    rows = []
    for path in files:
        field, rng = pd.read_csv(path), np.random.default_rng([seed, *path.stem.encode()])
        laid = [lay(field, rng) for _ in range(layouts)]
        rows += [{"field": path.stem, **judge(field, one, added=promised(field, one))} for one in laid]
    return pd.DataFrame(rows)


def summarise(rows: pd.DataFrame) -> pd.DataFrame:
    """Mean of each column by field, and over all layouts."""
    by = rows.groupby("field").mean(numeric_only=True)
    by.loc["all"] = rows.mean(numeric_only=True)
    return by


def main() -> None:
    """Print the table asked for."""
    power = "power" in sys.argv
    words = [word for word in sys.argv[1:] if word != "power"]
    study, usual, told = (run_power, POWER_LAYOUTS, "finds") if power else (run, LAYOUTS, ("holds", "width"))
    layouts = int(words[0]) if words else usual
    files = [DATA / f"{name}.csv" for name in words[1:]] or sorted(DATA.glob("*.csv"))
    if not files:
        print(f"no uniformity trials in {DATA}")  # noqa: T201
        return
    for path in files:
        table = summarise(study([path], layouts)).round(3).iloc[[0]]
        shown = table[[name for name in table if name.endswith(told)]]
        print(shown.to_string(header=path == files[0]), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
