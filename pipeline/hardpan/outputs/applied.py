"""The machine's log on the page and in tables: hectares by what became of them, rules, settings of the next run."""

from dataclasses import asdict
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.outputs.manifest import rows_of
from hardpan.outputs.pages import Table
from hardpan.outputs.palette import EDGE, EXCLUDED, UNRIPPED
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.shown import shown_parts
from hardpan.outputs.zone_map import as_svg, map_axes, outline_path
from hardpan.records.applied import ALL, Applied, AppliedAs, Observed

_COLOURS = {
    AppliedAs.WITHIN: "#8cc3ae",
    AppliedAs.SHALLOW: "#e69f00",
    AppliedAs.DEEP: "#0072b2",
    AppliedAs.NOT_MEASURED: "#999999",
    AppliedAs.NOT_WORKED: EXCLUDED,
}
"""Apart from one another for colour-blind eyes too (Okabe and Ito's, but for the pale green of what is as planned)."""
_SHOWN = (AppliedAs.WITHIN, AppliedAs.SHALLOW, AppliedAs.DEEP, AppliedAs.NOT_WORKED)


def write_applied(folder: Path, applied: Applied, words: Words) -> None:
    """Write applied.csv, cleaning.csv and, where a pass was measured, observed.toml."""
    write_table(folder / "applied.csv", applied.zones)
    write_table(folder / "cleaning.csv", applied.rules.replace({"rule": {"": "used"}}))
    if applied.observed is not None:
        text = "\n".join(observed_lines(applied.observed, words))
        (folder / "observed.toml").write_text(text + "\n", encoding="utf-8", newline="\n")


def observed_lines(observed: Observed, words: Words) -> list[str]:
    """Lines of a configuration that hold what the pass took."""
    told = words.applied.observed(observed, words.zones.setup(observed.setup))
    values = {
        "observed_fuel_l_per_ha": (observed.fuel_l_per_ha, 1),
        "observed_depth_mm": (observed.depth_mm, 0),
        "observed_speed_kmh": (observed.speed_kmh, 1),
    }
    lines = [f"{name} = {value:.{decimals}f}" for name, (value, decimals) in values.items() if value > 0]
    return [*(f"# {line}" for line in told), "[machine]", *lines]


def applied_record(applied: Applied) -> dict[str, object]:
    """What run.json keeps of the log: records by rule, lag and the pass that was measured."""
    return {
        "step_mm": applied.step_mm,
        "rules": rows_of(applied.rules),
        "lag": None if applied.lag is None else asdict(applied.lag),
        "observed": None if applied.observed is None else asdict(applied.observed),
    }


def applied_section(applied: Applied, zones: gpd.GeoDataFrame, words: Words) -> dict[str, object]:
    """What the template of the page asks for."""
    say = words.applied
    shown = [one for one in AppliedAs if one in _SHOWN or applied.zones["not_measured_ha"].iloc[0] > 0]
    return {
        "say": say.label,
        "headline": say.headline(applied),
        "map": Markup(as_svg(draw_applied(applied, zones))),
        "map_alt": say.headline(applied),
        "key": [
            *((say.outcome(one), _COLOURS[one], one is AppliedAs.NOT_WORKED) for one in shown),
            (say.label("left"), UNRIPPED, False),
        ],
        "says": [say.work(applied), say.lag(applied.lag)],
        "doubts": say.doubts(applied),
        "zones": _zone_table(applied, words),
        "rules": Table(
            [say.label("rule"), say.label("records")],
            [
                [say.rule(str(row["rule"])), words.units.figure(float(row["records"]), 0)]
                for row in applied.rules.to_dict("records")
            ],
        ),
        "lines": [] if applied.observed is None else observed_lines(applied.observed, words),
    }


def _zone_table(applied: Applied, words: Words) -> Table:
    say, table = words.applied, _as_planned(applied.zones, words)
    unknown = table["not_measured_ha"].max() > 0
    outcomes = [one for one in AppliedAs if one is not AppliedAs.NOT_MEASURED or unknown]
    heads = [
        *(say.label(key) for key in ("zone", "planned", "logged")),
        *(say.outcome(one) for one in outcomes),
        *(say.label(key) for key in ("speed", "hours", "fuel")),
    ]
    rows = [
        [
            say.label("all") if row["zone"] == ALL else str(row["zone"]),
            words.units.depth(row["planned_mm"]) if row["planned_mm"] > 0 else "",
            say.depths(row["applied_mm"], row["applied_low_mm"], row["applied_high_mm"]),
            *(words.units.area(row[f"{one.replace(' ', '_')}_ha"]) for one in outcomes),
            *(say.beside(row[name], row[f"planned_{name}"], key) for name, key in
              (("speed_kmh", "speed"), ("hours", "hours"), ("fuel_l", "fuel"))),
        ]
        for row in table.to_dict("records")
    ]  # fmt: skip
    return Table(heads, rows)


def _as_planned(zones: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Rows of what is ripped, with planned hours and fuel of the zones as the plan's own report prints them."""
    table = zones[(zones["zone"] == ALL) | (zones["planned_mm"] > 0)].copy()
    zone = table["zone"] != ALL
    for name in ("hours", "fuel_l"):
        planned = table.loc[zone, f"planned_{name}"].to_numpy(float)
        table.loc[zone, f"planned_{name}"] = shown_parts(planned, name, words.units)
    return table


def draw_applied(applied: Applied, zones: gpd.GeoDataFrame) -> Figure:
    """Figure of the ground by what became of it, within the outlines of the zones."""
    figure, axes = map_axes(tuple(zones.total_bounds))
    for zone in zones.itertuples():
        axes.add_patch(PathPatch(outline_path(zone.geometry), facecolor=UNRIPPED, edgecolor="none"))
    for row in applied.pieces.itertuples():
        if row.geometry.is_empty:
            continue
        hatch = "////" if row.outcome == AppliedAs.NOT_WORKED else None
        patch = PathPatch(outline_path(row.geometry), facecolor=_COLOURS[AppliedAs(row.outcome)], edgecolor=EDGE,
                          linewidth=0.0, hatch=hatch)  # fmt: skip
        axes.add_patch(patch)
    for zone in zones.itertuples():
        axes.add_patch(PathPatch(outline_path(zone.geometry), fill=False, edgecolor=EDGE, linewidth=1.2, zorder=2))
        if zone.depth_mm > 0:
            parts = getattr(zone.geometry, "geoms", [zone.geometry])
            at = max(parts, key=lambda part: part.area).representative_point()
            slip = {"boxstyle": "round,pad=0.2", "facecolor": EXCLUDED, "edgecolor": EDGE, "linewidth": 0.8}
            axes.text(at.x, at.y, str(zone.zone), ha="center", va="center", fontsize=13, fontweight="bold",
                      color=EDGE, bbox=slip, zorder=3)  # fmt: skip
    west, south, east, north = np.asarray(zones.total_bounds)
    axes.set_xlim(west - 5, east + 5)
    axes.set_ylim(south - 5, north + 5)
    return figure
