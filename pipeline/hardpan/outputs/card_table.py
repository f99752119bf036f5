"""Zones of the job card: what is ripped and how, left or shut, where the tines rise; and what its typeface prints."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
import numpy as np
import pandas as pd
from reportlab import rl_config
from reportlab.lib.colors import Color, HexColor, black
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph, Table

from hardpan.outputs.geodesy import bearing_deg
from hardpan.outputs.palette import INK, text_on
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.shown import shown_quantities
from hardpan.records.evidence import PaddockRun
from hardpan.records.reasons import Closed

_MOST_ROWS = 14
"""More zones than this are put together by depth and set-up, so that the map keeps its room."""

_MOST_SHUT = 6
"""More exclusions than this are put together by the way they are met."""

_MOST_NUMBERS = 6
"""More zones than this are counted instead of named in one cell."""

_NAMES = ("zone", "depth", "setup", "tines", "run", "speed", "area", "time", "fuel")
_WIDTHS = (0.065, 0.12, 0.175, 0.135, 0.12, 0.1, 0.1, 0.08, 0.105)
_WORKED = 6
"""Columns before the sums."""

_RIGHT_TO_LEFT = ("R", "AL", "AN", "RLE", "RLO", "RLI")
"""Classes of letters that need a typesetter for both directions, and Arabic ones joining as well."""

_FACES = {"card": "DejaVuSans.ttf", "card-bold": "DejaVuSans-Bold.ttf"}
"""DejaVu (free licence) comes with matplotlib and knows Latin, Greek and Cyrillic letters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shut:
    """Keep-out ground that is met in one way."""

    zones: list[int]
    name: str
    lift_m: float
    """Ground in which the tines rise."""
    inside: bool
    """That ground is hatched too."""


def zone_table(
    run: PaddockRun,
    colours: Mapping[int, str],
    words: Words,
    *,
    width: float,
) -> Table:
    """One row a zone, ripped ones first, then what is left, check strips and what is shut, then all.

    Parameters
    ----------
    colours : Mapping
        Depth in mm to colour, as in the map.
    width : float
        Points across.
    """
    shown = shown_quantities(run.plan.zones, run.ledger.lines, words.units)
    ripped = _ripped(run, shown)
    left, strips = (run.plan.zones.query(f"depth_mm <= 0 and kind == {kind!r}")["zone"] for kind in ("ground", "strip"))
    rows = _together(ripped, words) if len(ripped) > _MOST_ROWS else ripped
    say, units = words.page.label, words.units
    cells: list[list[Any]] = [[paragraph(say(f"card_{name}"), 9, bold=True) for name in _NAMES]]
    style: list[tuple[Any, ...]] = [
        ("GRID", (0, 0), (-1, -1), 0.5, HexColor(INK)), ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("LEFTPADDING", (0, 0), (-1, -1), 4), ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ]  # fmt: skip
    for row in rows.to_dict("records"):
        colour = colours[round(row["depth_mm"])]
        style.append(("BACKGROUND", (0, len(cells)), (1, len(cells)), HexColor(colour)))
        cells.append(_ripped_row(row, HexColor(text_on(colour)), words))
    idle = [(list(part), say(name)) for part, name in ((left, "card_left"), (strips, "card_strips")) if len(part)]
    idle += [(shut.zones, _shut_text(shut, words)) for shut in _shut(run)]
    for zones, text in idle:
        style.append(("SPAN", (1, len(cells)), (_WORKED - 1, len(cells))))
        cells.append(_idle_row(zones, text, shown.loc[zones, "area_ha"].sum(), words))
    style.append(("SPAN", (0, len(cells)), (_WORKED - 1, len(cells))))
    total = ripped[["area_ha", "hours", "fuel_l"]].sum()
    summed = units.area(total["area_ha"]), units.hours(total["hours"]), units.fuel(total["fuel_l"])
    all_of_it = [paragraph(say("card_all"), 10, bold=True), *[""] * (_WORKED - 1)]
    cells.append([*all_of_it, *(paragraph(one, 9, bold=True) for one in summed)])
    return Table(cells, colWidths=[part * width for part in _WIDTHS], style=style)


def _ripped(run: PaddockRun, shown: pd.DataFrame) -> pd.DataFrame:
    """Ripped zones with what they take, their tines and the bearing of their runs, degrees from true north."""
    plan = run.plan.zones[run.plan.zones["depth_mm"] > 0].drop(columns="area_ha").merge(shown, on="zone")
    plan = plan.merge(run.plan.machine[["zone", "tines"]], on="zone")
    plan = plan.merge(run.zones.table[["zone", "heading_deg"]], on="zone")
    places = plan.geometry.representative_point()
    bearings = [
        bearing_deg(heading, place, run.survey.crs) for heading, place in zip(plan["heading_deg"], places, strict=True)
    ]
    return pd.DataFrame(plan.drop(columns="geometry")).assign(bearing_deg=bearings, all_tines=run.catalog.ripper.tines)


def _shut(run: PaddockRun) -> list[Shut]:
    """Keep-out ground, each by name, or all that is met in one way where that would be too long."""
    each = [
        Shut(
            zones=[reason.zone],
            name=printable(reason.why.name),
            lift_m=run.zones.lift_m,
            inside=reason.why.lift_m > 0,
        )
        for reason in run.plan.reasons
        if isinstance(reason.why, Closed)
    ]
    if len(each) <= _MOST_SHUT:
        return each
    met = [[shut for shut in each if shut.inside is inside] for inside in (True, False)]
    return [
        Shut(
            zones=[zone for shut in alike for zone in shut.zones],
            name=", ".join(dict.fromkeys(shut.name for shut in alike)),
            lift_m=run.zones.lift_m,
            inside=alike[0].inside,
        )
        for alike in met
        if alike
    ]


def _shut_text(shut: Shut, words: Words) -> str:
    return words.page.keep_out(shut.name, shut.lift_m, inside=shut.inside)


def _ripped_row(row: dict[Any, Any], ink: Color, words: Words) -> list[Any]:
    units, page = words.units, words.page
    rest = (
        words.zones.setup(row["setup"]),
        page.tines(round(row["tines"]), round(row["all_tines"]), row["spacing_mm"]),
        units.bearing(row["bearing_deg"]),
        page.pace(row["speed_kmh"], round(row["passes"])),
        units.area(row["area_ha"]),
        units.hours(row["hours"]),
        units.fuel(row["fuel_l"]),
    )
    return [
        paragraph(row["zone"], 11, bold=True, ink=ink),
        paragraph(units.depth(row["depth_mm"]), 12, bold=True, ink=ink),
        *(paragraph(text, 8.5) for text in rest),
    ]


def _idle_row(zones: list[int], text: str, area_ha: float, words: Words) -> list[Any]:
    numbers = ", ".join(map(str, zones))
    numbers = numbers if len(zones) <= _MOST_NUMBERS else words.page.label("card_zones", n=len(zones))
    rest = [*[""] * (_WORKED - 2), paragraph(words.units.area(area_ha), 8.5), "", ""]
    return [paragraph(numbers, 8.5), paragraph(text, 9, bold=True), *rest]


def _together(ripped: pd.DataFrame, words: Words) -> pd.DataFrame:
    """One row a depth, set-up, number of tines and of passes; spacing and speed are means by area."""
    rows = [
        {
            "depth_mm": depth,
            "setup": setup,
            "tines": tines,
            "passes": passes,
            "all_tines": zones["all_tines"].iloc[0],
            "bearing_deg": _common(zones["bearing_deg"]),
            "zone": words.page.label("card_zones", n=len(zones)),
            **{name: zones[name].sum() for name in ("area_ha", "hours", "fuel_l")},
            **{name: np.average(zones[name], weights=zones["area_ha"]) for name in ("spacing_mm", "speed_kmh")},
        }
        for (depth, setup, tines, passes), zones in ripped.groupby(["depth_mm", "setup", "tines", "passes"])
    ]
    return pd.DataFrame(rows)


def _common(values: pd.Series) -> float:
    """The value that all have, NaN where they differ."""
    first = float(values.iloc[0])
    return first if (values == first).all() else np.nan


def prepare_typesetter() -> None:
    """Make the card's faces known to the typesetter; pictures go in as bytes, not spelled out as text."""
    rl_config.useA85 = 0
    for face in _FACES:
        pdfmetrics.registerFont(_face(face))


@lru_cache
def _face(face: str) -> TTFont:
    return TTFont(face, str(Path(mpl.get_data_path()) / "fonts" / "ttf" / _FACES[face]))


def printable(name: str) -> str:
    """Name with "…" for each run of letters the card cannot print."""
    known = _face("card-bold").face.charToGlyph
    shown = "".join(
        one if ord(one) in known and unicodedata.bidirectional(one) not in _RIGHT_TO_LEFT else "\0" for one in name
    )
    return re.sub(r"\0(?:\s*\0)*", "…", shown)


def paragraph(
    text: object,
    size: float,
    *,
    bold: bool = False,
    ink: Color = black,
    indent: float = 0,
    before: float = 0,
) -> Paragraph:
    """Text as a paragraph of the card; `indent` hangs all lines but the first."""
    style = ParagraphStyle(
        "card", fontName="card-bold" if bold else "card", fontSize=size, leading=1.25 * size, textColor=ink,
        leftIndent=indent, firstLineIndent=-indent, spaceBefore=before, splitLongWords=False,
    )  # fmt: skip
    return Paragraph(escape(str(text)), style)
