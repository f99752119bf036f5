"""The page, put together: facts, figures and map into one self-contained file."""

import json
from collections.abc import Mapping
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
    people : People
        Units.
    """
    loader = jinja2.PackageLoader("hardpan.outputs.report")
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    environment.filters["sentence"] = lambda text: text if str(text).endswith((".", "!", "?")) else f"{text}."
    web = draw_web_map(
        zones=run.plan.zones, layers=layers, maps=maps, frame=run.zones.frame, colours=colours, people=people
    )
    setups = run.catalog.setups
    context: dict[str, Any] = {
        "paddock": run.survey.paddock, "ledger": run.ledger, "plan": run.plan, "pan": run.pan, "rates": run.rates,
        "surfaces": run.surfaces, "run_zones": run.zones, "trail": run.trail, "crs_name": run.survey.crs.name,
        "people": people, "number": number, "share": share, "cautions": CAUTIONS,
        "says": lambda setup: setups[setup].says if setup in setups else setup or MISSING,
        "zones": _ripped_first(run.plan.zones), "heading": _heading, "strategies": facts.strategies(run, people),
        "doubts": facts.doubts(run), "unverified": facts.unverified(run), "quantities": facts.zone_quantities(run),
        "remarks": remarks, "sources": _sources(run), "trail_table": _trail(run),
        "moves": _moves((*run.survey.datum_moves, move)),
        "settings_text": json.dumps(run.trail.settings, indent=1, ensure_ascii=False, default=str),
        "depth_map": Markup(depth_map), "key": _key(colours, people), "map_alt": _map_alt(run, people),
        "has_exclusions": (run.plan.zones["kind"] == "exclusion").any(),
        "map_ratio": _ratio(run), "pictures": _zone_pictures(run, people), "money": _money_pictures(run, people),
        "web": web, "map_item": Markup(web.item), "bokeh_script": Markup(bokeh_script()),
    }  # fmt: skip
    path.write_text(environment.get_template("report.html").render(context), encoding="utf-8", newline="\n")


_SHORT = {
    "l": "L",
    "mm": "mm",
    "ha": "ha",
    "kpa": "kPa",
    "kw": "kW",
    "kn": "kN",
    "t": "t",
    "m": "m",
    "h": "h",
    "s": "s",
}
"""Ends of column names that are units, as people write them."""


def _heading(column: object) -> str:
    """Give a column's name in words, its unit after a comma: "net_per_ha" is "net per ha", "stop_mm" is "stop, mm"."""
    *words, last = str(column).split("_")
    if words and words[-1] != "per" and last in _SHORT:
        return f"{' '.join(words)}, {_SHORT[last]}"
    return " ".join([*words, _SHORT.get(last, last)])


def _ripped_first(zones: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    shut = zones["kind"] == "exclusion"
    order = np.lexsort((zones["zone"], shut, zones["depth_mm"] <= 0))
    return list(zones.drop(columns="geometry").iloc[order].to_dict("records"))


def _key(colours: Mapping[int, str], people: People) -> list[tuple[str, str]]:
    return [
        (people.depth(depth) if depth else "leave unripped", colour)
        for depth, colour in sorted(colours.items(), key=lambda one: one[0] or np.inf)
    ]


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
    """Give the charts of each zone of ground with their description in words."""
    profiles, pans, setups = facts.zone_profiles(run), facts.zone_pans(run), run.catalog.setups
    critical = run.plan.machine.set_index("zone")["critical_depth_mm"]
    nothing = pd.DataFrame(columns=["depth_mm", "low_kpa", "mid_kpa", "high_kpa", "kpa"], dtype=float)
    says = {name: setup.says for name, setup in setups.items()}
    pictures: dict[int, list[tuple[Markup, str]]] = {}
    for zone in run.plan.zones.query("kind != 'exclusion'").to_dict("records"):
        number_, pan_mm = zone["zone"], pans.get(zone["zone"], (float("nan"), float("nan")))
        profile, stops = profiles.get(number_, (nothing, nothing))
        drawn = [
            (
                figures.draw_profile(
                    profile, stops, zone, threshold_kpa=run.pan.threshold_kpa, pan_mm=pan_mm, people=people
                ),
                "Cone index by depth where the probe went all the way: median and middle four fifths; triangles, "
                f"where it stopped; dashed, the threshold of {people.strength(run.pan.threshold_kpa)}; shaded, the "
                "mapped pan.",
            )
        ]
        if zone["setup"] in setups:
            setup = setups[zone["setup"]]
            section = figures.draw_section(zone, setup, float(critical.get(number_, float("nan"))), pan_mm, people)
            drawn.append(
                (
                    section,
                    "Across three tines: pale, the soil loosened; between the tines a ridge stays; hatched, the pan.",
                )
            )
        rows = run.plan.candidates[run.plan.candidates["zone"] == number_]
        if (rows["allowed"] & (rows["depth_mm"] > 0)).any():
            drawn.append(
                (
                    figures.draw_candidates(rows, zone, says, people),
                    "Expected return of each depth and set-up allowed here.",
                )
            )
        pictures[number_] = [(Markup(as_svg(figure)), alt) for figure, alt in drawn]
    return pictures


def _money_pictures(run: PaddockRun, people: People) -> list[tuple[Markup, str]]:
    ways = run.ledger.strategies
    ripped = run.plan.zones[run.plan.zones["depth_mm"] > 0]
    ends = [ways[name].to_numpy(float) for name in ("net_low", "net", "net_high")]
    drawn = [
        (
            figures.draw_ranges(list(ways["strategy"]), ends, f"return, {people.currency}"),
            "Return of the whole paddock by strategy, with its likely range (nine chances in ten).",
        )
    ]
    if len(ripped):
        columns = ("net_low_per_ha", "net_per_ha", "net_high_per_ha")
        ends = [people.per_area_of(ripped[name].to_numpy(float)) for name in columns]
        names = [f"zone {zone}" for zone in ripped["zone"]]
        label = f"return, {people.currency}/{people.area_unit}"
        drawn.append((figures.draw_ranges(names, ends, label), "Return by zone, with its likely range."))
    return [(Markup(as_svg(figure)), alt) for figure, alt in drawn]


def _sources(run: PaddockRun) -> pd.DataFrame:
    references = run.catalog.references
    names = ("authors", "year", "title", "where", "standing")
    rows = [[key, *(str(getattr(source, name)) for name in names)] for key, source in sorted(references.items())]
    return pd.DataFrame(rows, columns=["key", *names])


def _moves(moves: tuple[DatumMove, ...]) -> pd.DataFrame:
    names = ("file", "from_crs", "to_crs", "operation", "accuracy_m")
    return pd.DataFrame([[getattr(move, name) for name in names] for move in moves], columns=list(names))


def _trail(run: PaddockRun) -> pd.DataFrame:
    trail = run.trail
    rows = [("seed", str(trail.seed)), ("settings, SHA-256", trail.settings_digest)]
    rows += [(f"{name}, SHA-256", str(digest)) for name, digest in trail.inputs.items()]
    rows += [(f"{name}, version", str(version)) for name, version in trail.versions.items()]
    return pd.DataFrame(rows, columns=["what", "value"])
