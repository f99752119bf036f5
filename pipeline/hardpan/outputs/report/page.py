"""The page, put together: facts, figures and map into one self-contained file."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import jinja2
import numpy as np
import pandas as pd
from markupsafe import Markup

from hardpan.core.arrays import Floats
from hardpan.outputs.cautions import CAUTIONS
from hardpan.outputs.people import MISSING, People, number, share
from hardpan.outputs.report import facts, figures
from hardpan.outputs.report.web_map import bokeh_script, draw_web_map
from hardpan.outputs.zone_map import as_svg
from hardpan.records.evidence import PaddockRun
from hardpan.records.survey import DatumMove


def write_report(
    path: Path,
    run: PaddockRun,
    *,
    move: DatumMove,
    remarks: pd.DataFrame,
    layers: Mapping[str, gpd.GeoDataFrame],
    maps: Mapping[str, Floats],
    colours: Mapping[int, str],
    depth_map: str,
    lost: str,
    people: People,
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
    remarks : DataFrame
        One row an issue, those of the outputs included.
    layers, maps : Mapping
        Layers and rasters for the interactive map, as `layers.desktop_layers` and `layers.raster_layers` give them.
    colours : Mapping
        Depth in mm to colour.
    depth_map : str
        The still depth map, an SVG element.
    lost : str
        What happens without a position.
    people : People
        Units.
    """
    loader = jinja2.PackageLoader("hardpan.outputs.report")
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    environment.filters["sentence"] = lambda text: text if str(text).endswith((".", "!", "?")) else f"{text}."
    key = _key(run, colours, people)
    setups = run.catalog.setups
    named = run.plan.zones.assign(setup=[setups[one].says if one in setups else one for one in run.plan.zones["setup"]])
    web = draw_web_map(
        zones=named, layers=layers, maps=maps, frame=run.zones.frame, colours=colours, key=key, people=people
    )
    context: dict[str, Any] = {
        "paddock": run.survey.paddock, "ledger": run.ledger, "plan": run.plan, "pan": run.pan, "rates": run.rates,
        "surfaces": run.surfaces, "run_zones": run.zones, "trail": run.trail, "crs_name": run.survey.crs.name,
        "people": people, "number": number, "share": share, "cautions": (lost, *CAUTIONS),
        "says": lambda setup: setups[setup].says if setup in setups else setup or MISSING,
        "zones": _ripped_first(run.plan.zones), "heading": _heading, "strategies": facts.strategies(run, people),
        "when_again": facts.when_again(run, people), "made_of": facts.cost_made_of(run, people),
        "investment": facts.investment(run, people), "drivers": facts.drivers(run), "rest_of_reason": _rest_of_reason,
        "doubts": facts.doubts(run), "unverified": facts.unverified(run), "quantities": facts.zone_quantities(run),
        "remarks": remarks, "sources": facts.sources(run),
        "sensitivity": facts.sensitivity(run), "trail_table": facts.trail(run),
        "moves": facts.datum_moves((*run.survey.datum_moves, move)),
        "settings_text": json.dumps(run.trail.settings, indent=1, ensure_ascii=False, default=str),
        "depth_map": Markup(depth_map), "key": key, "map_alt": _map_alt(run, people),
        "has_exclusions": (run.plan.zones["kind"] == "exclusion").any(),
        "map_ratio": _ratio(run), "pictures": _zone_pictures(run, people), "money": _money_pictures(run, people),
        "variograms": _variogram_pictures(run, people),
        "web": web, "map_item": Markup(web.item), "bokeh_script": Markup(bokeh_script()),
    }  # fmt: skip
    path.write_text(environment.get_template("report.html").render(context), encoding="utf-8", newline="\n")


_SHORT = {
    **{unit: unit for unit in ("mm", "ha", "t", "m", "h", "s")},
    **{unit.lower(): unit for unit in ("L", "kPa", "kW", "kN")},
}
"""Ends of column names that are units, as people write them."""


def _heading(column: object) -> str:
    """Give a column's name in words, its unit after a comma: "net_per_ha" is "net per ha", "stop_mm" is "stop, mm"."""
    *words, last = str(column).split("_")
    if words and words[-1] != "per" and last in _SHORT:
        return f"{' '.join(words)}, {_SHORT[last]}"
    return " ".join([*words, _SHORT.get(last, last)])


def _rest_of_reason(zone: Mapping[str, Any], says: str) -> str:
    """Give a zone's reason to follow its depth and the name of its set-up, which its first words may repeat."""
    head = f"Rip to {round(zone['depth_mm'])} mm with {says}" if zone["setup"] else "Leave unripped: "
    reason = str(zone["reason"])
    if not reason.startswith(head):
        return f". {reason}" if zone["setup"] else reason
    rest = reason.removeprefix(head)
    return rest if zone["setup"] else f"{rest[:1].upper()}{rest[1:]}"


def _ripped_first(zones: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    shut = zones["kind"] == "exclusion"
    order = np.lexsort((zones["zone"], shut, zones["depth_mm"] <= 0))
    return list(zones.drop(columns="geometry").iloc[order].to_dict("records"))


def _key(run: PaddockRun, colours: Mapping[int, str], people: People) -> list[tuple[str, str]]:
    """Give label and colour of each depth on ground, ground left alone last."""
    depths = {round(depth) for depth in run.plan.zones.query("kind != 'exclusion'")["depth_mm"]}
    order = sorted(depths, key=lambda depth: depth or np.inf)
    return [(people.depth(depth) if depth else "leave unripped", colours[depth]) for depth in order]


def _map_alt(run: PaddockRun, people: People) -> str:
    """Give the depth map in words."""
    hectares = run.plan.zones.groupby("depth_mm")["area_ha"].sum()
    ripped = [f"{people.area(hectares[depth])} at {people.depth(depth)}" for depth in hectares.index if depth > 0]
    return f"{'; '.join(ripped) or 'Nothing to rip'}; {people.area(hectares.get(0, 0.0))} left alone."


def _ratio(run: PaddockRun) -> float:
    """Give width over height of the map: the paddock's own, within what screens take, with room for the toolbar."""
    west, south, east, north = run.plan.zones.total_bounds
    return round(float(np.clip(0.9 * (east - west) / (north - south), 0.75, 2.4)), 2)


def _zone_pictures(run: PaddockRun, people: People) -> dict[int, list[tuple[Markup, str]]]:
    """Give the charts of each zone of ground, each with its description in words."""
    profiles, pans = facts.zone_profiles(run), facts.zone_pans(run)
    ground = run.plan.zones.query("kind != 'exclusion'").to_dict("records")
    return {zone["zone"]: list(_pictures_of(zone, run, profiles, pans, people)) for zone in ground}


def _pictures_of(
    zone: dict[str, Any],
    run: PaddockRun,
    profiles: Mapping[int, tuple[pd.DataFrame, pd.DataFrame]],
    pans: Mapping[int, tuple[float, float]],
    people: People,
) -> Iterator[tuple[Markup, str]]:
    setups, pan_mm = run.catalog.setups, pans.get(zone["zone"], (np.nan, np.nan))
    profile, stops = profiles.get(zone["zone"], (facts.NO_READINGS, facts.NO_READINGS))
    threshold = run.pan.threshold_kpa
    drawn = figures.draw_profile(profile, stops, zone, threshold_kpa=threshold, pan_mm=pan_mm, people=people)
    yield (
        Markup(as_svg(drawn)),
        "Cone index by depth where the probe went all the way: median and middle four fifths; triangles, where it "
        f"stopped; dashed, the threshold of {people.strength(threshold)}; shaded, the mapped pan.",
    )
    if zone["setup"] in setups:
        critical_mm = run.plan.machine.set_index("zone")["critical_depth_mm"].get(zone["zone"], np.nan)
        drawn = figures.draw_section(zone, setups[zone["setup"]], critical_mm, pan_mm, people)
        yield (
            Markup(as_svg(drawn)),
            "Across three tines: pale, the soil loosened; between the tines a ridge stays; hatched, the pan.",
        )
    rows = run.plan.candidates[run.plan.candidates["zone"] == zone["zone"]]
    if (rows["allowed"] & (rows["depth_mm"] > 0)).any():
        drawn = figures.draw_candidates(rows, zone, {name: setup.says for name, setup in setups.items()}, people)
        yield Markup(as_svg(drawn)), "Expected return of each depth and set-up allowed here."


def _money_pictures(run: PaddockRun, people: People) -> list[tuple[Markup, str]]:
    ways = run.ledger.strategies
    ripped = run.plan.zones[run.plan.zones["depth_mm"] > 0]
    ends = [ways[name].to_numpy(float) for name in ("net_low", "net", "net_high")]
    drawn = [
        (
            figures.draw_ranges(list(ways["strategy"]), ends, f"return, {people.sign}"),
            "Return of the whole paddock by strategy, with its likely range (nine chances in ten).",
        )
    ]
    if len(ripped):
        columns = ("net_low_per_ha", "net_per_ha", "net_high_per_ha")
        ends = [people.per_area_of(ripped[name].to_numpy(float)) for name in columns]
        names = [f"zone {zone}" for zone in ripped["zone"]]
        label = f"return, {people.sign}/{people.area_unit}"
        drawn.append((figures.draw_ranges(names, ends, label), "Return by zone, with its likely range."))
    return [(Markup(as_svg(figure)), alt) for figure, alt in drawn]


def _variogram_pictures(run: PaddockRun, people: People) -> list[tuple[Markup, str]]:
    """Give one chart a mapped variable that was seen at enough sites."""
    classes = run.surfaces.variograms
    if classes.empty:
        return []
    return [
        (
            Markup(as_svg(figures.draw_variogram(rows, people))),
            f"How unlike two sites are by their distance: {str(name).replace('_', ' ')} of the pan.",
        )
        for name, rows in classes.groupby("variable", sort=False)
    ]
