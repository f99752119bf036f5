"""The page of a trial: the answer, the strips, one row a zone, what could be wrong."""

from collections.abc import Hashable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure

from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.report.figures import draw_ranges
from hardpan.outputs.trial.figures import draw_strips, ramp_stops, yield_range
from hardpan.outputs.words.english.trial import EnglishTrial
from hardpan.outputs.zone_map import as_svg
from hardpan.records.evidence import TrialRun
from hardpan.records.trial import LEVEL, Method, TrialResult

_Row = Mapping[Hashable, Any]


def write_trial_page(path: Path, run: TrialRun, words: EnglishTrial) -> None:
    """Write the page, one self-contained file."""
    result = run.result
    unit, level = words.unit, f"{LEVEL:.0%}".replace("%", " %")
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
    write_page(path, "trial", context)


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
