"""job-card.pdf: two A4 pages for the cab, front the map and the numbers, back what to look at."""

import io
import re
import unicodedata
from collections.abc import Mapping
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

from hardpan.outputs.advice import plan_advice, set_up_advice
from hardpan.outputs.cautions import CAUTIONS, CHECKS
from hardpan.outputs.palette import INK, text_on
from hardpan.outputs.people import MISSING, People
from hardpan.records.issues import Issue, Issues, Outcome

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
    moisture: pd.DataFrame,
    conditions: pd.DataFrame,
    setting_up: pd.DataFrame,
    says: Mapping[str, str],
    colours: Mapping[int, str],
    depth_map: bytes,
    lost: str,
    people: People,
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
    moisture : DataFrame
        `zone`, `verdict`, `moist_depth_mm`, `rain_needed_mm`, `why`.
    conditions : DataFrame
        `zone`, `met`, `rollers`, `advice`: what the plan advises on set-up and finish.
    setting_up : DataFrame
        `topic`, `advice`: how to set tractor and ripper up; may be empty.
    says : Mapping
        Set-up to its name for people.
    colours : Mapping
        Depth in mm to colour, as in the map.
    depth_map : bytes
        The still map, a PNG.
    lost : str
        What happens without a position.
    people : People
        Units.
    """
    for face in _FACES:
        pdfmetrics.registerFont(_face(face))
    short = _printable(name)
    short = short if len(short) <= _LONGEST_NAME else short[: _LONGEST_NAME - 1] + "…"
    table = _zone_table(zones, quantities, says, colours, people)
    unit = people.depth_unit_name
    note = f"Depths are in {unit}, as on the display, from ground not yet ripped. Hatched ground: keep out."
    head = [_paragraph(f"Ripping: {short}", 15, bold=True), _paragraph(note, 10), Spacer(0, 2 * mm)]
    _, table_height = table.wrap(_WIDTH, _HEIGHT)
    picture = _picture(depth_map, _HEIGHT - table_height - 30 * mm)
    room = _HEIGHT - table_height - picture.drawHeight - 30 * mm
    front = [*head, picture, Spacer(0, 2 * mm), table, *_record(int(room // _RECORD_ROW) - 1)]
    told = plan_advice(zones, moisture, conditions, people)
    back = _back(zones, told, set_up_advice(setting_up, people), lost, people)
    document = SimpleDocTemplate(
        str(path), pagesize=A4, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=_MARGIN,
        title=f"Ripping job card: {short}", invariant=1, initialFontName="card",
    )  # fmt: skip
    document.build([_one_page(front), PageBreak(), _one_page(back)])


def name_issues(name: str) -> Issues:
    """Say that the card cannot print the paddock's name as it is written."""
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
    """Give the name with "…" for each run of letters the card cannot print."""
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
    says: Mapping[str, str],
    colours: Mapping[int, str],
    people: People,
) -> Table:
    """Give one row a zone, ripped ones first, then what is left and what is shut, then all."""
    sums = pd.DataFrame([{"zone": zone, **numbers} for zone, numbers in quantities.items()])
    plan = zones.drop(columns="geometry", errors="ignore").merge(sums, on="zone")
    ripped = plan[plan["depth_mm"] > 0]
    shut = plan["kind"] == "exclusion"
    rows = _together(ripped) if len(ripped) > _MOST_ROWS else ripped
    names = ("Zone", "Depth", "Set-up", "Spacing", "Speed", "Area", "Time", "Fuel")
    cells: list[list[Any]] = [[_paragraph(name, 9, bold=True) for name in names]]
    style: list[tuple[Any, ...]] = [
        ("GRID", (0, 0), (-1, -1), 0.5, HexColor(INK)), ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ]  # fmt: skip
    for row in rows.to_dict("records"):
        colour = colours[round(row["depth_mm"])]
        style.append(("BACKGROUND", (0, len(cells)), (1, len(cells)), HexColor(colour)))
        cells.append(_ripped_row(row, says, HexColor(text_on(colour)), people))
    for part, text in (
        (plan[(plan["depth_mm"] <= 0) & ~shut], "leave unripped: tines up"),
        (plan[shut], "KEEP OUT (hatched)"),
    ):
        if len(part):
            style.append(("SPAN", (1, len(cells)), (4, len(cells))))
            cells.append(_idle_row(part, text, people))
    style.append(("SPAN", (0, len(cells)), (4, len(cells))))
    total = ripped[["area_ha", "hours", "fuel_l"]].sum()
    summed = people.area(total["area_ha"]), people.hours(total["hours"]), people.fuel(total["fuel_l"])
    cells.append(
        [_paragraph("All ripping", 10, bold=True), *[""] * 4, *(_paragraph(one, 10, bold=True) for one in summed)]
    )
    widths = [part * (_WIDTH - 12) for part in (0.09, 0.15, 0.21, 0.11, 0.11, 0.12, 0.09, 0.12)]
    return Table(cells, colWidths=widths, style=style)


def _ripped_row(row: dict[Any, Any], says: Mapping[str, str], ink: Color, people: People) -> list[Any]:
    rest = (
        says.get(row["setup"], row["setup"]), people.spacing(row["spacing_mm"]), people.speed(row["speed_kmh"]),
        people.area(row["area_ha"]), people.hours(row["hours"]), people.fuel(row["fuel_l"]),
    )  # fmt: skip
    return [
        _paragraph(row["zone"], 11, bold=True, ink=ink),
        _paragraph(people.depth(row["depth_mm"]), 13, bold=True, ink=ink),
        *(_paragraph(text, 9) for text in rest),
    ]


def _idle_row(part: pd.DataFrame, text: str, people: People) -> list[Any]:
    numbers = ", ".join(str(zone) for zone in part["zone"])
    numbers = numbers if len(part) <= _MOST_NUMBERS else f"{len(part)} zones"
    area = people.area(part["area_ha"].sum())
    return [_paragraph(numbers, 9), _paragraph(text, 10, bold=True), *[""] * 3, _paragraph(area, 9), "", ""]


def _record(rows: int) -> list[Flowable]:
    """Give an empty record of the work for the room that is left, nothing where there is none."""
    if rows < 1:
        return []
    names = ("Date", "Zone", "Depth dug", "Moist to", "Hours", "Fuel", "Seen behind the tines")
    cells = [[_paragraph(name, 8) for name in names], *([""] * len(names) for _ in range(min(rows, _MOST_RECORDS)))]
    widths = [part * (_WIDTH - 12) for part in (0.12, 0.08, 0.14, 0.1, 0.09, 0.09, 0.38)]
    grid = [("GRID", (0, 0), (-1, -1), 0.5, HexColor(INK))]
    return [Spacer(0, 4 * mm), Table(cells, colWidths=widths, rowHeights=_RECORD_ROW, style=grid)]


def _together(ripped: pd.DataFrame) -> pd.DataFrame:
    """Give one row a depth and set-up; spacing and speed are means by area."""
    rows = [
        {
            "depth_mm": depth,
            "setup": setup,
            "zone": f"{len(zones)} zones",
            **{name: zones[name].sum() for name in ("area_ha", "hours", "fuel_l")},
            **{name: np.average(zones[name], weights=zones["area_ha"]) for name in ("spacing_mm", "speed_kmh")},
        }
        for (depth, setup), zones in ripped.groupby(["depth_mm", "setup"])
    ]
    return pd.DataFrame(rows)


def _back(zones: pd.DataFrame, told: list[str], setting_up: list[str], lost: str, people: People) -> list[Flowable]:
    """Give the checks, how to set up, the plan's advice, the cautions and who to ask."""
    depths = sorted({round(depth) for depth in zones["depth_mm"] if depth > 0})
    deepest = people.depth(depths[-1]) if depths else MISSING
    out: list[Flowable] = []
    for title, checks in CHECKS.items():
        out.append(_paragraph(title, 13, bold=True, before=8))
        out += [_paragraph(f"☐ {check.format(depth=deepest, lost=lost)}", 11, indent=15) for check in checks]
    for title, texts in (("Setting up", setting_up), ("From the plan", told)):
        if texts:
            out.append(_paragraph(title, 13, bold=True, before=8))
            out += [_paragraph(f"• {text}", 10, indent=10) for text in texts]
    out.append(_paragraph("Cautions", 13, bold=True, before=8))
    out += [_paragraph(f"• {caution}", 9.5, indent=10) for caution in CAUTIONS]
    out.append(_paragraph("Who to ask (fill in)", 13, bold=True, before=8))
    blank = [["Grower", "", "Agronomist", ""], ["Before-you-dig reference", "", "Emergency", ""]]
    cells = [[_paragraph(text, 9) for text in row] for row in blank]
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
