"""job-card.pdf: two A4 pages for the cab, front the map and the numbers, back what to look at."""

import io
import re
import unicodedata
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
import numpy as np
import pandas as pd
from reportlab.lib.colors import Color, HexColor, black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, Image, KeepInFrame, PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table

from hardpan.outputs.palette import INK, text_on
from hardpan.outputs.words.interface import Words
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.zones import Zones

_MARGIN = 12 * mm
_WIDTH, _HEIGHT = A4[0] - 2 * _MARGIN, A4[1] - 2 * _MARGIN - 1
_MOST_ROWS = 14
"""More zones than this are put together by depth and set-up, so that the map keeps its room."""

_MOST_NUMBERS = 6
"""More zones than this are counted instead of named in one cell."""

_RECORD_ROW, _MOST_RECORDS = 7 * mm, 8
"""Height of a row of the record of the work, and the most rows."""

_LONGEST_NAME = 80
"""Characters of the paddock's name in the title."""

_RIGHT_TO_LEFT = ("R", "AL", "AN", "RLE", "RLO", "RLI")
"""Classes of letters that need a typesetter for both directions, and Arabic ones joining as well."""

_FACES = {"card": "DejaVuSans.ttf", "card-bold": "DejaVuSans-Bold.ttf"}
"""DejaVu (free licence) comes with matplotlib and knows Latin, Greek and Cyrillic letters."""


def write_job_card(
    path: Path,
    zones: pd.DataFrame,
    quantities: Mapping[int, Mapping[str, float]],
    *,
    name: str,
    told: Sequence[str],
    setting_up: Sequence[str],
    colours: Mapping[int, str],
    depth_map: bytes,
    lost: str,
    travel: Zones,
    words: Words,
) -> None:
    """Write the card.

    Parameters
    ----------
    path : Path
        The file to write; the same plan gives the same bytes.
    zones : DataFrame
        The plan: `zone`, `kind`, `depth_mm`, `setup`, `spacing_mm`, `speed_kmh`, `area_ha`.
    quantities : Mapping
        Zone to its `hours` and `fuel_l`.
    name : str
        Name of the paddock.
    told, setting_up : sequence of str
        What the plan advises, and how to set tractor and ripper up; may be empty.
    colours : Mapping
        Depth in mm to colour, as in the map.
    depth_map : bytes
        The still map, a PNG.
    lost : str
        What happens without a position.
    travel : Zones
        Ground driven while the tines rise (`lift_m`), and while they change depth (`change_m`).
    words : Words
        Labels and units.
    """
    for face in _FACES:
        pdfmetrics.registerFont(_face(face))
    short = _printable(name)
    short = short if len(short) <= _LONGEST_NAME else short[: _LONGEST_NAME - 1] + "…"
    table = _zone_table(zones, quantities, colours, words)
    say = words.page.label
    title = _paragraph(say("card_title", name=short), 15, bold=True)
    head = [title, _paragraph(words.page.depth_note(), 10), Spacer(0, 2 * mm)]
    _, table_height = table.wrap(_WIDTH, _HEIGHT)
    picture = _picture(depth_map, _HEIGHT - table_height - 30 * mm)
    room = _HEIGHT - table_height - picture.drawHeight - 30 * mm
    front = [*head, picture, Spacer(0, 2 * mm), table, *_record(int(room // _RECORD_ROW) - 1, words)]
    deepest_mm = max((float(depth) for depth in zones["depth_mm"] if depth > 0), default=np.nan)
    checks = words.page.checks(deepest_mm, lost, lift_m=travel.lift_m, change_m=travel.change_m)
    back = _back(told, setting_up, checks, words)
    document = SimpleDocTemplate(
        str(path), pagesize=A4, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=_MARGIN,
        title=say("card_document", name=short), invariant=1, initialFontName="card",
    )  # fmt: skip
    document.build([_one_page(front), PageBreak(), _one_page(back)])


def name_issues(name: str) -> Issues:
    """Remark that the card cannot print the paddock's name as it is written."""
    if _printable(name) == name:
        return ()
    return (
        Issue(
            outcome=Outcome.WARN,
            stage="outputs",
            code="card-name",
            what="the job card cannot print all letters of the paddock's name: they are not in its typeface, or run "
            "from right to left and would stand in the wrong order",
            done="… stands for them there; the report shows the name as it is",
        ),
    )


@lru_cache
def _face(face: str) -> TTFont:
    return TTFont(face, str(Path(mpl.get_data_path()) / "fonts" / "ttf" / _FACES[face]))


def _printable(name: str) -> str:
    """Name with "…" for each run of letters the card cannot print."""
    known = _face("card-bold").face.charToGlyph
    shown = "".join(
        one if ord(one) in known and unicodedata.bidirectional(one) not in _RIGHT_TO_LEFT else "\0" for one in name
    )
    return re.sub(r"\0(?:\s*\0)*", "…", shown)


def _one_page(content: list[Flowable]) -> KeepInFrame:
    return KeepInFrame(_WIDTH - 12, _HEIGHT - 12, content, mode="shrink")


def _picture(png: bytes, most_height: float) -> Image:
    picture = Image(io.BytesIO(png))
    scale = min((_WIDTH - 12) / picture.imageWidth, most_height / picture.imageHeight)
    picture.drawWidth, picture.drawHeight = picture.imageWidth * scale, picture.imageHeight * scale
    return picture


def _zone_table(
    zones: pd.DataFrame,
    quantities: Mapping[int, Mapping[str, float]],
    colours: Mapping[int, str],
    words: Words,
) -> Table:
    """One row a zone, ripped ones first, then what is left and what is shut, then all."""
    sums = pd.DataFrame([{"zone": zone, **numbers} for zone, numbers in quantities.items()])
    plan = zones.drop(columns="geometry", errors="ignore").merge(sums, on="zone")
    ripped = plan[plan["depth_mm"] > 0]
    shut = plan["kind"] == "exclusion"
    rows = _together(ripped, words) if len(ripped) > _MOST_ROWS else ripped
    say, units = words.page.label, words.units
    names = ("zone", "depth", "setup", "spacing", "speed", "area", "time", "fuel")
    cells: list[list[Any]] = [[_paragraph(say(f"card_{name}"), 9, bold=True) for name in names]]
    style: list[tuple[Any, ...]] = [
        ("GRID", (0, 0), (-1, -1), 0.5, HexColor(INK)), ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ]  # fmt: skip
    for row in rows.to_dict("records"):
        colour = colours[round(row["depth_mm"])]
        style.append(("BACKGROUND", (0, len(cells)), (1, len(cells)), HexColor(colour)))
        cells.append(_ripped_row(row, HexColor(text_on(colour)), words))
    for part, text in (
        (plan[(plan["depth_mm"] <= 0) & ~shut], say("card_left")),
        (plan[shut], say("card_shut")),
    ):
        if len(part):
            style.append(("SPAN", (1, len(cells)), (4, len(cells))))
            cells.append(_idle_row(part, text, words))
    style.append(("SPAN", (0, len(cells)), (4, len(cells))))
    total = ripped[["area_ha", "hours", "fuel_l"]].sum()
    summed = units.area(total["area_ha"]), units.hours(total["hours"]), units.fuel(total["fuel_l"])
    cells.append(
        [_paragraph(say("card_all"), 10, bold=True), *[""] * 4, *(_paragraph(one, 10, bold=True) for one in summed)]
    )
    widths = [part * (_WIDTH - 12) for part in (0.09, 0.15, 0.21, 0.11, 0.11, 0.12, 0.09, 0.12)]
    return Table(cells, colWidths=widths, style=style)


def _ripped_row(row: dict[Any, Any], ink: Color, words: Words) -> list[Any]:
    units = words.units
    rest = (
        words.zones.setup(row["setup"]), units.spacing(row["spacing_mm"]), units.speed(row["speed_kmh"]),
        units.area(row["area_ha"]), units.hours(row["hours"]), units.fuel(row["fuel_l"]),
    )  # fmt: skip
    return [
        _paragraph(row["zone"], 11, bold=True, ink=ink),
        _paragraph(units.depth(row["depth_mm"]), 13, bold=True, ink=ink),
        *(_paragraph(text, 9) for text in rest),
    ]


def _idle_row(part: pd.DataFrame, text: str, words: Words) -> list[Any]:
    numbers = ", ".join(str(zone) for zone in part["zone"])
    numbers = numbers if len(part) <= _MOST_NUMBERS else words.page.label("card_zones", n=len(part))
    area = words.units.area(part["area_ha"].sum())
    return [_paragraph(numbers, 9), _paragraph(text, 10, bold=True), *[""] * 3, _paragraph(area, 9), "", ""]


def _record(rows: int, words: Words) -> list[Flowable]:
    """Empty record of the work for the room that is left, nothing where there is none."""
    if rows < 1:
        return []
    names = ("date", "zone", "dug", "moist", "hours", "fuel", "seen")
    cells = [
        [_paragraph(words.page.label(f"card_{name}"), 8) for name in names],
        *([""] * len(names) for _ in range(min(rows, _MOST_RECORDS))),
    ]
    widths = [part * (_WIDTH - 12) for part in (0.12, 0.08, 0.14, 0.1, 0.09, 0.09, 0.38)]
    grid = [("GRID", (0, 0), (-1, -1), 0.5, HexColor(INK))]
    return [Spacer(0, 4 * mm), Table(cells, colWidths=widths, rowHeights=_RECORD_ROW, style=grid)]


def _together(ripped: pd.DataFrame, words: Words) -> pd.DataFrame:
    """One row a depth and set-up; spacing and speed are means by area."""
    rows = [
        {
            "depth_mm": depth,
            "setup": setup,
            "zone": words.page.label("card_zones", n=len(zones)),
            **{name: zones[name].sum() for name in ("area_ha", "hours", "fuel_l")},
            **{name: np.average(zones[name], weights=zones["area_ha"]) for name in ("spacing_mm", "speed_kmh")},
        }
        for (depth, setup), zones in ripped.groupby(["depth_mm", "setup"])
    ]
    return pd.DataFrame(rows)


def _back(
    told: Sequence[str], setting_up: Sequence[str], checks: Mapping[str, Sequence[str]], words: Words
) -> list[Flowable]:
    """Checks, how to set up, the plan's advice, the cautions and who to ask."""
    say, out = words.page.label, list[Flowable]()
    for title, lines in checks.items():
        out.append(_paragraph(title, 13, bold=True, before=8))
        out += [_paragraph(f"☐ {line}", 11, indent=15) for line in lines]
    for title, texts in ((say("card_setting_up"), setting_up), (say("card_plan"), told)):
        if texts:
            out.append(_paragraph(title, 13, bold=True, before=8))
            out += [_paragraph(f"• {text}", 10, indent=10) for text in texts]
    out.append(_paragraph(say("card_cautions"), 13, bold=True, before=8))
    out += [_paragraph(f"• {caution}", 9.5, indent=10) for caution in words.page.cautions()]
    out.append(_paragraph(say("card_ask"), 13, bold=True, before=8))
    asked = (("grower", "agronomist"), ("services", "emergency"))
    cells = [[cell for key in row for cell in (_paragraph(say(f"card_{key}"), 9), "")] for row in asked]
    grid = [("LINEBELOW", (1, 0), (1, -1), 0.7, black), ("LINEBELOW", (3, 0), (3, -1), 0.7, black)]
    out.append(Table(cells, colWidths=[share * (_WIDTH - 12) for share in (0.24, 0.28, 0.18, 0.3)], style=grid))
    return out


def _paragraph(
    text: object,
    size: float,
    *,
    bold: bool = False,
    ink: Color = black,
    indent: float = 0,
    before: float = 0,
) -> Paragraph:
    style = ParagraphStyle(
        "card", fontName="card-bold" if bold else "card", fontSize=size, leading=1.25 * size, textColor=ink,
        leftIndent=indent, firstLineIndent=-indent, spaceBefore=before, splitLongWords=False,
    )  # fmt: skip
    return Paragraph(escape(str(text)), style)
