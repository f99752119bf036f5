"""The page of a plan of sites: map, table, doubts, in one file that works offline."""

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
from markupsafe import Markup

from hardpan.outputs.pages import write_page
from hardpan.outputs.sites.site_map import draw_site_map, soil_colours
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import told_issues
from hardpan.outputs.zone_map import as_svg
from hardpan.records.probing import ProbingRun


def write_sites_page(path: Path, run: ProbingRun, sites: gpd.GeoDataFrame, words: Words) -> None:
    """Write the page.

    Parameters
    ----------
    path : Path
        The file to write.
    run : ProbingRun
        Everything that planning found.
    sites : GeoDataFrame
        Sites with what is said of them, in the reader's units.
    words : Words
        What is said around them.
    """
    context: dict[str, Any] = {
        "name": run.survey.paddock.name, "say": words.sites.label, "units": words.units, "trail": run.trail,
        "headline": words.sites.headline(run.plan, run.survey.paddock.area_ha),
        "sites": sites.drop(columns="geometry").to_dict("records"), "worthy": bool((sites["worth"] > 0).any()),
        "doubts": words.sites.doubts(run.plan), "before": words.sites.before(),
        "remarks": told_issues(run.issues, words)[["what", "done", "file", "place"]].to_dict("records"),
        "soils": soil_colours(run.survey.soil_types), "shut": len(run.survey.paddock.exclusions) > 0,
        "probed": len(run.plan.probed) > 0, "site_map": Markup(as_svg(draw_site_map(run, words))),
        "settings_text": json.dumps(run.trail.settings, indent=1, ensure_ascii=False, default=str),
        "crs_name": run.survey.crs.name,
    }  # fmt: skip
    write_page(path, "sites", context)
