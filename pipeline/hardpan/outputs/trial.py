"""Every file of a trial, with its page and pictures, written beside its place and renamed into it at the end."""

import json
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib import colormaps
from matplotlib.colors import Normalize, to_hex
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.core.said import percent
from hardpan.core.settings import parse
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.manifest import provenance, rows_of, write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import EDGE, INK
from hardpan.outputs.report.figures import draw_ranges
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.english.trial import EnglishTrial
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_svg, bare_axes, outline_path
from hardpan.records.evidence import TrialRun
from hardpan.records.trail import MANIFEST
from hardpan.records.trial import LEVEL, Method, Treatment, TrialResult

_DECIMALS = {"level": 2, "df": 2}
"""Of trial.csv; the others keep six digits."""

_Row = Mapping[Hashable, Any]

RAMP = "cividis"
"""Even to the eye, and read alike by colour-blind eyes."""

_MOST_POINTS = 4000
"""Drawn; more make the page heavy and no clearer."""

_WIDTH_IN = 6.4


def write_trial(run: TrialRun, folder: Path) -> tuple[Path, ...]:
    """Write tables, response, page and run.json of a trial; give their paths.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    words = trial_words(run)
    with fresh_folder(folder) as work:
        _write_csv(work / "trial.csv", run.result.effects)
        _write_csv(work / "cleaning.csv", run.result.cleaning.assign(rule=run.result.cleaning["rule"].map(str)))
        write_response(work / "response.toml", run, words)
        write_trial_page(work / "trial.html", run, words)
        _write_manifest(work / MANIFEST, run, digests(work))
    return tuple(sorted(folder.iterdir()))


def trial_words(run: TrialRun) -> EnglishTrial:
    """What is said of a trial, in the units of the run's readers."""
    currency = "" if run.catalog is None else run.catalog.prices.currency
    settings = parse(OutputSettings, run.display, file=MANIFEST)
    return EnglishTrial(Units.of(settings, currency), weighed=run.result.unit == "t/ha")


def write_response(path: Path, run: TrialRun, words: EnglishTrial) -> None:
    """Write gains of soil types as tables that a configuration takes in."""
    response = run.result.response
    lines = [f"# {line}" for line in words.response_head(run.name, run.result)]
    for row in response.to_dict("records"):
        entry = {"value": row["value"], "low": row["low"], "high": row["high"]}
        numbers = ", ".join(f"{name} = {round(float(value), 3) + 0.0}" for name, value in entry.items())
        note = json.dumps(words.response_note(row), ensure_ascii=False)
        lines += [
            "",
            f"[soil.types.{json.dumps(row['soil_type'], ensure_ascii=False)}]",
            f'first_year_gain = {{ {numbers}, unit = "t/ha", source = "user", note = {note} }}',
        ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _write_csv(path: Path, table: pd.DataFrame) -> None:
    """Write a table; numbers to six digits, for the unit of yield may be any."""
    told = table.copy()
    for name in told.select_dtypes("float"):
        told[name] = [_cell(value, _DECIMALS.get(str(name))) for value in told[name]]
    told.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def _cell(value: float, decimals: int | None) -> str:
    if not np.isfinite(value):
        return ""
    return f"{value + 0.0:.6g}" if decimals is None else f"{value:.{decimals}f}"


def _write_manifest(path: Path, run: TrialRun, files: dict[str, str]) -> None:
    result = run.result
    document = provenance(run.trail) | {
        "kind": "trial",
        "paddock": {"name": run.name},
        "seed": run.trail.seed,
        "unit": result.unit,
        "delay_s": result.delay_s,
        "model": result.model,
        "response": rows_of(result.response),
        "payback": [] if result.payback is None else rows_of(result.payback.table),
        "issues": sorted(issue.code for issue in result.issues),
    }
    write_document(path, document, files)


def write_trial_page(path: Path, run: TrialRun, words: EnglishTrial) -> None:
    """Write the page, one self-contained file."""
    result = run.result
    unit, level = words.unit, percent(LEVEL)
    money_unit = words.units.money_per_area
    low, high = yield_range(result)
    context = {
        "name": run.name or words.label("no_name"), "say": words.label, "trail": run.trail,
        "headline": words.headline(result), "unit": unit, "ramp": ramp_stops(), "map_alt": words.map(result),
        "map": Markup(as_svg(draw_strips(result))), "low": words.number(low), "high": words.number(high),
        "chart": Markup(as_svg(_chart(result, words, unit))),
        "captions": {
            "effects": words.label("effects_caption", unit=unit, level=level),
            "money": words.label("money_caption", unit=money_unit),
            "response": words.label("response_caption", unit=unit),
            "means": words.label("means_caption", unit=unit), "chart": words.label("chart", level=level),
        },
        "effects": _effects(result, words), "depths": _depths(result, words), "money": _money(result, words),
        "response": _response(result, words), "doubts": words.doubts(result), "cleaning": _cleaning(result, words),
        "means": _means(result, words), "method": words.method(result),
    }  # fmt: skip
    write_page(path, context)


def _chart(result: TrialResult, words: EnglishTrial, unit: str) -> Figure:
    rows = result.effects[result.effects["method"] == Method.SPATIAL]
    names = [words.label("all") if group == "all" else f"{words.label('group')} {group}" for group in rows["group"]]
    ends = [words.shown(rows[name].to_numpy(dtype=float)) for name in ("low", "effect", "high")]
    return draw_ranges(names, ends, words.label("axis", unit=unit))


def _effects(result: TrialResult, words: EnglishTrial) -> Table:
    """One row a group: the spatial effect with its interval, and the others beside it."""
    by = {(row["group"], row["method"]): row for row in result.effects.to_dict("records")}
    depth = result.means.groupby("zone")["depth_mm"].max()
    several = any(method == Method.POOLED for _, method in by)
    keys = ["group", "depth", "effect", "interval", "paired", *(["pooled"] if several else []), "strips"]
    rows = []
    for group in dict.fromkeys(result.effects["group"]):
        one = by[group, Method.SPATIAL]
        known = group != "all" and np.isfinite(depth.get(int(group), np.nan))
        cells = [
            words.label("all") if group == "all" else group,
            words.units.depth(float(depth[int(group)])) if known else "",
            words.number(one["effect"], sign=True),
            words.interval(one["low"], one["high"]),
            _beside(by, group, Method.PAIRED, words),
        ]
        cells += [_beside(by, group, Method.POOLED, words)] if several else []
        rows.append([*cells, str(one["strips"])])
    return Table([words.label(key) for key in keys], rows)


def _beside(by: Mapping[tuple[str, str], _Row], group: str, method: Method, words: EnglishTrial) -> str:
    if (group, method) not in by:
        return ""
    row = by[group, method]
    return f"{words.number(row['effect'], sign=True)} ({words.interval(row['low'], row['high'])})"


def _depths(result: TrialResult, words: EnglishTrial) -> Table:
    rows = [
        [
            words.units.depth(float(row["group"])),
            words.number(row["effect"], sign=True),
            words.interval(row["low"], row["high"]),
            str(row["strips"]),
        ]
        for row in result.by_depth.to_dict("records")
    ]
    return Table([words.label(key) for key in ("depth", "effect", "interval", "strips")], rows)


def _money(result: TrialResult, words: EnglishTrial) -> Table:
    keys = ("money_group", "cost", "first", "first_paid", "net", "net_range", "paid")
    units = words.units
    table = pd.DataFrame() if result.payback is None else result.payback.table
    rows = [
        [
            words.label("all") if row["group"] == "all" else row["group"],
            units.figure(units.per_area_of(row["cost_per_ha"]), 0),
            units.figure(units.per_area_of(row["first_net_per_ha"]), 0),
            words.chance(row["first_paid"]),
            units.figure(units.per_area_of(row["net_per_ha"]), 0),
            units.span(row["net_low_per_ha"], row["net_high_per_ha"]),
            words.chance(row["paid"]),
        ]
        for row in table.to_dict("records")
    ]
    return Table([words.label(key) for key in keys], rows)


def _response(result: TrialResult, words: EnglishTrial) -> Table:
    rows = [
        [
            row["soil_type"],
            f"{words.number(row['prior'])} ({words.interval(row['prior_low'], row['prior_high'])})",
            f"{words.number(row['value'])} ({words.interval(row['low'], row['high'])})",
            words.chance(row["agrees"]),
        ]
        for row in result.response.to_dict("records")
    ]
    return Table([words.label(key) for key in ("soil_type", "prior", "posterior", "agrees")], rows)


def _cleaning(result: TrialResult, words: EnglishTrial) -> Table:
    rows = [
        [words.rule(row["rule"]), words.units.figure(row["points"], 0)] for row in result.cleaning.to_dict("records")
    ]
    return Table([words.label("rule"), words.label("taken")], rows)


def _means(result: TrialResult, words: EnglishTrial) -> Table:
    keys = ("strip", "treatment", "pair", "group", "depth", "points", "mean")
    rows = [
        [
            str(row["strip"]),
            words.label(row["treatment"]),
            str(row["pair"]) if row["pair"] > 0 else "",
            str(row["zone"]) if row["zone"] > 0 else "",
            words.units.depth(row["depth_mm"]) if np.isfinite(row["depth_mm"]) else "",
            words.units.figure(row["points"], 0),
            words.number(row["mean"]),
        ]
        for row in result.means.to_dict("records")
    ]
    return Table([words.label(key) for key in keys], rows)


def yield_range(result: TrialResult) -> tuple[float, float]:
    """Ends of the colours: the 2 and 98 % points of the yields."""
    low, high = np.quantile(result.points["value"], [0.02, 0.98])
    return float(low), float(high)


def draw_strips(result: TrialResult) -> Figure:
    """Strips outlined, the ripped ones by a heavy line, with their points coloured by yield."""
    strips, points = result.strips.table, result.points
    west, south, east, north = strips.total_bounds
    pad = 0.03 * max(east - west, north - south)
    shape = float(np.clip((north - south + 2 * pad) / (east - west + 2 * pad), 0.35, 1.25))
    figure, axes = bare_axes(_WIDTH_IN, _WIDTH_IN * shape)
    shown = points.iloc[:: max(1, int(np.ceil(len(points) / _MOST_POINTS)))]
    axes.scatter(
        shown["x_m"], shown["y_m"], c=shown["value"], cmap=colormaps[RAMP], norm=Normalize(*yield_range(result)), s=14,
        linewidths=0, marker="s",
    )  # fmt: skip
    for strip in strips.to_dict("records"):
        ripped = strip["treatment"] == Treatment.RIPPED
        style = {"edgecolor": EDGE if not ripped else INK, "linewidth": 2.6 if ripped else 1.0}
        axes.add_patch(
            PathPatch(outline_path(strip["geometry"]), fill=False, linestyle="-" if ripped else (0, (3, 2)), **style)
        )
    axes.set_xlim(west - pad, east + pad)
    axes.set_ylim(south - pad, north + pad)
    return figure


def ramp_stops(count: int = 7) -> Sequence[str]:
    """Colours of the ramp, evenly spread, for the key."""
    return [to_hex(colormaps[RAMP](share)) for share in np.linspace(0.0, 1.0, count)]
