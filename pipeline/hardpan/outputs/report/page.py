"""The page, put together: facts, figures and map into one self-contained file."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from markupsafe import Markup

from hardpan.core.arrays import Floats
from hardpan.core.said import Measure, depth
from hardpan.core.units import M2_PER_HA
from hardpan.outputs.pages import write_page
from hardpan.outputs.report import facts, figures
from hardpan.outputs.report.web_map import bokeh_script, draw_web_map
from hardpan.outputs.report.what_if import what_if
from hardpan.outputs.words.columns import squared
from hardpan.outputs.words.interface import Driven, Words
from hardpan.outputs.words.shown import shown_quantities
from hardpan.outputs.words.told import (
    first_cautions,
    told_further,
    told_insertions,
    told_zones,
)
from hardpan.outputs.zone_map import as_svg
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issues
from hardpan.records.pan import DATES_TO_MM
from hardpan.records.reasons import Alternative
from hardpan.records.survey import DatumMove
from hardpan.spatial.runs import count_runs

_TABLES = (
    "fit_days", "weeks", "machines_compared", "ways", "strategies", "drivers", "investment", "when_again", "lines",
    "worth", "scores", "models", "sensitivity", "dates", "counts", "machine", "setting_up", "moisture", "conditions",
    "remarks_caption", "replaced", "unverified", "defaults", "sources", "moves", "trail",
)  # fmt: skip
"""Keys of the tables of the page, which are those of their captions."""

_LEAST_MONEY = 0.5
"""A next best choice of ground left alone that is less apart, money per ha, is not told."""


def write_report(
    path: Path,
    run: PaddockRun,
    *,
    move: DatumMove,
    issues: Issues,
    layers: Mapping[str, gpd.GeoDataFrame],
    maps: Mapping[str, Floats],
    colours: Mapping[int, str],
    depth_map: str,
    lost: str,
    words: Words,
    tables: Words,
) -> None:
    """Write the page.

    Parameters
    ----------
    path : Path
        The file to write.
    run : PaddockRun
        The whole run.
    move : DatumMove
        How the zones came to WGS 84.
    issues : Issues
        All issues, those of the outputs included.
    layers, maps : Mapping
        Layers and rasters for the interactive map, as `layers.drawn_layers` and `layers.raster_layers` give them.
    colours : Mapping
        Depth in mm to colour.
    depth_map : str
        The still depth map, an SVG element.
    lost : str
        What happens without a position.
    words, tables : Words
        What is said in the reader's units, and in those of the tables.
    """
    key, shown = _key(run, colours, words), shown_quantities(run.plan.zones, run.ledger.lines, words.units)
    zones = told_zones(run.plan, words)
    zones = zones.assign(area_ha=zones["zone"].map(shown["area_ha"]))
    named = zones.assign(
        setup=[words.zones.setup(one) for one in zones["setup"]], geometry=layers["zones"].geometry.to_numpy()
    )
    told = told_insertions(run.pan, words)
    web = draw_web_map(
        zones=named, layers={**layers, "probes": told, "further": told_further(run.further, words)}, maps=maps,
        frame=run.zones.frame, colours=colours, key=key,
        words=words,
    )  # fmt: skip
    context: dict[str, Any] = {
        "paddock": run.survey.paddock, "ledger": run.ledger, "crs_name": run.survey.crs.name, "trail": run.trail,
        "units": words.units, "say": words.page.label, "words": words, "captions": _captions(tables),
        "tables": facts.tables(run, issues, move, tables) | facts.money_tables(run, words),
        "zones": [_zone(row, run, shown, words) for row in _ripped_first(zones[zones["kind"] != "strip"])],
        "strip_zones": words.page.numbers(zones.loc[zones["kind"] == "strip", "zone"]),
        "strip_area": words.units.area(zones.loc[zones["kind"] == "strip", "area_ha"].sum()),
        "answer": words.money.answer(run.plan, run.ledger),
        "doubts": (*facts.doubts(run, words), *filter(None, [words.sites.again(run.further)])),
        "n_remarks": len(issues), "made_of": words.money.made_of(run.ledger),
        "best_machine": words.money.best_machine(run.machines), "machine_chart": _machine_picture(run, words),
        "hiring": words.money.hiring(run.ledger.hiring), "verdict": words.ground.map_verdict(run.surfaces.verdict),
        "first": first_cautions(run.plan, words), "cautions": (lost, *words.page.cautions()),
        "draft": tables.ground.draft(run.plan.machine),
        "finishing": words.weather.finishing(run.outlook),
        "count": tables.ground.count(run.zones.count), "square": words.units.of_tables.depth_unit,
        "settings_text": json.dumps(run.trail.settings, indent=1, ensure_ascii=False, default=str),
        "depth_map": Markup(depth_map), "key": key, "map_alt": _map_alt(zones, words),
        "strips": words.page.strips(run.strips) if run.strips else "",
        "has_exclusions": (zones["kind"] == "exclusion").any(), "map_ratio": _ratio(run),
        "pictures": _zone_pictures(run, words), "money": _money_pictures(run, words),
        "variograms": _variogram_pictures(run, words),
        "what_if": Markup(_embedded(what_if(run, words))),
        "web": web, "map_item": Markup(web.item), "bokeh_script": Markup(bokeh_script()),
    }  # fmt: skip
    write_page(path, context)


def _embedded(plain: Any) -> str:  # noqa: ANN401 - whatever JSON holds
    """Text of plain values that may stand in a script element."""
    return json.dumps(plain, ensure_ascii=True, separators=(",", ":")).replace("<", "\\u003c")


def _captions(words: Words) -> dict[str, str]:
    """Caption of every table, those with money or units named in them filled in."""
    say, units = words.page.label, words.units
    name = {measure: units.scale(measure).unit for measure in Measure}
    machine = (Measure.FORCE, Measure.POWER, Measure.DEPTH, Measure.FUEL_RATE, Measure.WORK_RATE)
    parts: dict[str, dict[str, object]] = {
        "sensitivity": {"unit": name[Measure.DEPTH]},
        "weeks": {"unit": name[Measure.DEPTH]},
        "dates": {"depth": depth(DATES_TO_MM), "unit": name[Measure.STRENGTH]},
        "machine": {"units": ", ".join(name[measure] for measure in machine)},
        **{
            key: {"money": units.money_name}
            for key in (
                "machines_compared",
                "ways",
                "strategies",
                "investment",
                "lines",
                "worth",
                "counts",
                "unverified",
            )
        },
    }
    return {key: say(key, **parts.get(key, {})) for key in _TABLES}


def _zone(row: dict[str, Any], run: PaddockRun, shown: pd.DataFrame, words: Words) -> dict[str, Any]:
    """A zone of the page: its row of the plan and what is said of it; `shown` are the quantities as printed."""
    page, say = words.page, words.zones
    reason = next(reason for reason in run.plan.reasons if reason.zone == row["zone"])
    cost = row["runner_up_cost_per_ha"]
    worth_telling = row["runner_up"] and (row["depth_mm"] > 0 or abs(cost) >= _LEAST_MONEY)
    quantities = shown.loc[row["zone"]]
    setup = say.setup(row["setup"])
    told = [
        f"{row['reason']}",
        page.beside(row["runner_up"], cost) if worth_telling else "",
        page.unmended(row["will_not_fix"]) if row["will_not_fix"] else "",
        page.change(row["would_change"]) if row["would_change"] else "",
    ]
    return {
        **row,
        "name": setup,
        "brief": say.brief(reason),
        "title": page.zone_title(row["zone"], row["depth_mm"], setup, row["area_ha"], row["soil_type"]),
        "told": " ".join(text for text in told if text),
        "work": page.work(row, quantities["hours"], quantities["fuel_l"], _drive(row, run))
        if row["depth_mm"] > 0
        else "",
    }


def _drive(row: dict[str, Any], run: PaddockRun) -> Driven:
    """Runs that go once over a ripped zone, and the headland beside them."""
    zone, area_ha = run.zones.table.set_index("zone").loc[row["zone"]], float(row["area_ha"])
    width_m = float(run.plan.machine.set_index("zone")["width_m"][row["zone"]])
    turn_m, headland_ha = float(zone["length_m"]), float(zone["headland_ha"])
    return Driven(
        runs=count_runs(area_ha * M2_PER_HA, turn_m, width_m),
        run_m=turn_m * (1.0 - headland_ha / area_ha),
        headland_ha=headland_ha,
    )


def _ripped_first(zones: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    shut = zones["kind"] == "exclusion"
    order = np.lexsort((zones["zone"], shut, zones["depth_mm"] <= 0))
    return list(zones.drop(columns="geometry").iloc[order].to_dict("records"))


def _key(run: PaddockRun, colours: Mapping[int, str], words: Words) -> list[tuple[str, str]]:
    """Label and colour of each depth on ground, ground left alone last."""
    depths = {round(depth) for depth in run.plan.zones.query("kind != 'exclusion'")["depth_mm"]}
    order = sorted(depths, key=lambda depth: depth or np.inf)
    return [(words.page.depth(depth), colours[depth]) for depth in order]


def _map_alt(zones: pd.DataFrame, words: Words) -> str:
    """The depth map in words."""
    hectares = zones.groupby("depth_mm")["area_ha"].sum()
    ripped = [(float(depth), float(hectares[depth])) for depth in hectares.index if depth > 0]
    return words.page.depth_map(ripped, float(hectares.get(0, 0.0)))


def _ratio(run: PaddockRun) -> float:
    """Width over height of the map: the paddock's own, within what screens take, with room for the toolbar."""
    west, south, east, north = run.plan.zones.total_bounds
    return round(float(np.clip(0.9 * (east - west) / (north - south), 0.75, 2.4)), 2)


def _zone_pictures(run: PaddockRun, words: Words) -> dict[int, list[tuple[Markup, str]]]:
    """Charts of each zone of ground, each with its description in words."""
    profiles, pans = facts.zone_profiles(run), facts.zone_pans(run)
    ground = run.plan.zones.query("kind == 'ground'").to_dict("records")
    return {zone["zone"]: list(_pictures_of(zone, run, profiles, pans, words)) for zone in ground}


def _pictures_of(
    zone: dict[str, Any],
    run: PaddockRun,
    profiles: Mapping[int, tuple[pd.DataFrame, pd.DataFrame]],
    pans: Mapping[int, tuple[float, float]],
    words: Words,
) -> Iterator[tuple[Markup, str]]:
    setups, pan_mm, say = run.catalog.setups, pans.get(zone["zone"], (np.nan, np.nan)), words.page.label
    profile, stops = profiles.get(zone["zone"], (facts.NO_READINGS, facts.NO_READINGS))
    threshold = run.pan.threshold_kpa
    drawn = figures.draw_profile(profile, stops, zone, threshold_kpa=threshold, pan_mm=pan_mm, words=words)
    yield Markup(as_svg(drawn)), say("profile", threshold=words.units.strength(threshold))
    if zone["setup"] in setups:
        critical_mm = run.plan.machine.set_index("zone")["critical_depth_mm"].get(zone["zone"], np.nan)
        drawn = figures.draw_section(zone, setups[zone["setup"]], critical_mm, pan_mm, words)
        yield Markup(as_svg(drawn)), say("section")
    rows = run.plan.candidates[run.plan.candidates["zone"] == zone["zone"]]
    allowed = rows[rows["allowed"] & (rows["depth_mm"] > 0)]
    if len(allowed):
        best = allowed.loc[allowed["net_per_ha"].idxmax()]
        option = words.zones.option(Alternative(depth_mm=int(best["depth_mm"]), setup=str(best["setup"])))
        money = words.units.per_area(float(best["net_per_ha"]))
        drawn = figures.draw_candidates(rows, zone, {name: words.zones.setup(name) for name in setups}, words)
        yield Markup(as_svg(drawn)), say("candidates", option=option, money=money)


def _money_pictures(run: PaddockRun, words: Words) -> list[tuple[Markup, str]]:
    ways, units, say = run.ledger.strategies, words.units, words.page.label
    ripped = run.plan.zones[run.plan.zones["depth_mm"] > 0]
    ends = [ways[name].to_numpy(float) for name in ("net_low", "net", "net_high")]
    names = [words.money.label(way) for way in ways["strategy"]]
    drawn = [(figures.draw_ranges(names, ends, say("return_axis", unit=units.sign)), say("by_strategy"))]
    if len(ripped):
        columns = ("net_low_per_ha", "net_per_ha", "net_high_per_ha")
        ends = [units.per_area_of(ripped[name].to_numpy(float)) for name in columns]
        names = [say("zone_name", zone=zone) for zone in ripped["zone"]]
        label = say("return_axis", unit=units.money_per_area)
        drawn.append((figures.draw_ranges(names, ends, label), say("by_zone_chart")))
    return [(Markup(as_svg(figure)), alt) for figure, alt in drawn]


def _machine_picture(run: PaddockRun, words: Words) -> list[tuple[Markup, str]]:
    """Return of every machine compared; no picture where none is."""
    if not run.machines:
        return []
    ends = [np.array([getattr(row, name) for row in run.machines]) for name in ("net_low", "net", "net_high")]
    label = words.page.label("return_axis", unit=words.units.sign)
    drawn = figures.draw_ranges([row.name for row in run.machines], ends, label)
    return [(Markup(as_svg(drawn)), words.page.label("by_machine"))]


def _variogram_pictures(run: PaddockRun, words: Words) -> list[tuple[Markup, str]]:
    """One chart a mapped variable that was seen at enough sites."""
    classes = squared(run.surfaces.variograms, words.units, ("semivariance", "model", "reml"))
    if classes.empty:
        return []
    return [
        (
            Markup(as_svg(figures.draw_variogram(rows, words))),
            words.page.label("variogram", variable=str(name).replace("_", " ")),
        )
        for name, rows in classes.groupby("variable", sort=False)
    ]
