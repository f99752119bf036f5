"""job-card.pdf: two A4 pages for the cab, front the map and the numbers, back what to look at."""

import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from reportlab.lib.colors import HexColor, black
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Image, KeepInFrame, PageBreak, SimpleDocTemplate, Spacer, Table

from hardpan.outputs.card_table import paragraph, prepare_typesetter, printable, zone_table
from hardpan.outputs.palette import INK
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import first_cautions
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issue, Issues

_MARGIN = 12 * mm
_WIDTH, _HEIGHT = A4[0] - 2 * _MARGIN, A4[1] - 2 * _MARGIN - 1

_RECORD_ROW, _MOST_RECORDS = 7 * mm, 8
"""Height of a row of the record of the work, and the most rows."""

_HEAD, _LEAST_RECORDS = 42 * mm, 3
"""Height of title, machine and notes, and rows of the record that the map leaves room for."""

_LONGEST_NAME = 80
"""Characters of the paddock's name in the title."""


def write_job_card(
    path: Path,
    run: PaddockRun,
    *,
    told: Sequence[str],
    setting_up: Sequence[str],
    colours: Mapping[int, str],
    depth_map: bytes,
    lost: str,
    words: Words,
) -> None:
    """Write the card.

    Parameters
    ----------
    path : Path
        The file to write; the same run gives the same bytes.
    run : PaddockRun
        The whole run.
    told, setting_up : sequence of str
        What the plan advises, and how to set tractor and ripper up; may be empty.
    colours : Mapping
        Depth in mm to colour, as in the map.
    depth_map : bytes
        The still map, a PNG.
    lost : str
        What happens without a position.
    words : Words
        Labels and units.
    """
    prepare_typesetter()
    short = printable(run.survey.paddock.name)
    short = short if len(short) <= _LONGEST_NAME else short[: _LONGEST_NAME - 1] + "…"
    table = zone_table(run, colours, words, width=_WIDTH - 12)
    first = [paragraph(f"⚠ {text}", 11, bold=True, indent=16) for text in first_cautions(run.plan, words)]
    table_height = table.wrap(_WIDTH, _HEIGHT)[1] + sum(one.wrap(_WIDTH - 12, _HEIGHT)[1] for one in first)
    picture = _picture(depth_map, _HEIGHT - table_height - _HEAD - (_LEAST_RECORDS + 1) * _RECORD_ROW)
    room = _HEIGHT - table_height - picture.drawHeight - _HEAD
    front = [*_head(run, short, lost, first, words), picture, Spacer(0, 2 * mm), table]
    front += _record(int(room // _RECORD_ROW) - 1, words)
    deepest_mm = max((float(depth) for depth in run.plan.zones["depth_mm"] if depth > 0), default=np.nan)
    checks = words.page.checks(deepest_mm, lost, lift_m=run.zones.lift_m, change_m=run.zones.change_m)
    back = _back(told, setting_up, checks, words)
    document = SimpleDocTemplate(
        str(path), pagesize=A4, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=_MARGIN,
        title=words.page.label("card_document", name=short), invariant=1, initialFontName="card",
    )  # fmt: skip
    document.build([_one_page(front), PageBreak(), _one_page(back)])


def name_issues(name: str) -> Issues:
    """Remark that the card cannot print the paddock's name as it is written."""
    if printable(name) == name:
        return ()
    what = (
        "the job card cannot print all letters of the paddock's name: they are not in its typeface, or run "
        "from right to left and would stand in the wrong order"
    )
    done = "… stands for them there; the report shows the name as it is"
    return (Issue("outputs", "card-name", what, done),)


def _head(run: PaddockRun, name: str, lost: str, first: Sequence[Flowable], words: Words) -> list[Flowable]:
    """Title, what comes first of all, what the plan was made for, and how to read the page."""
    say = words.page.label
    made_for = words.page.made_for(run.catalog, number=run.trail.plan_number, day=run.trail.day)
    cells = [
        [paragraph(text, 9, bold=bold) for bold, text in zip((True, False) * 2, row, strict=True)] for row in made_for
    ]
    made = Table(cells, colWidths=[share * (_WIDTH - 12) for share in (0.1, 0.5, 0.1, 0.3)])
    made.setStyle(
        [
            ("TOPPADDING", (0, 0), (-1, -1), 0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ]
    )
    return [
        paragraph(say("card_title", name=name), 15, bold=True),
        *first,
        Spacer(0, 1 * mm),
        made,
        paragraph(words.page.depth_note(), 9),
        paragraph(lost, 9, bold=True),
        Spacer(0, 1 * mm),
    ]


def _one_page(content: list[Flowable]) -> KeepInFrame:
    return KeepInFrame(_WIDTH - 12, _HEIGHT - 12, content, mode="shrink")


def _picture(png: bytes, most_height: float) -> Image:
    picture = Image(io.BytesIO(png))
    scale = min((_WIDTH - 12) / picture.imageWidth, most_height / picture.imageHeight)
    picture.drawWidth, picture.drawHeight = picture.imageWidth * scale, picture.imageHeight * scale
    return picture


def _record(rows: int, words: Words) -> list[Flowable]:
    """Empty record of the work for the room that is left, nothing where there is none."""
    if rows < 1:
        return []
    names = ("date", "zone", "dug", "moist", "hours", "fuel", "seen")
    cells = [
        [paragraph(words.page.label(f"card_{name}"), 8) for name in names],
        *([""] * len(names) for _ in range(min(rows, _MOST_RECORDS))),
    ]
    widths = [part * (_WIDTH - 12) for part in (0.12, 0.08, 0.14, 0.1, 0.09, 0.09, 0.38)]
    grid = [("GRID", (0, 0), (-1, -1), 0.5, HexColor(INK))]
    return [Spacer(0, 4 * mm), Table(cells, colWidths=widths, rowHeights=_RECORD_ROW, style=grid)]


def _back(
    told: Sequence[str], setting_up: Sequence[str], checks: Mapping[str, Sequence[str]], words: Words
) -> list[Flowable]:
    """Checks, how to set up, the plan's advice, the cautions and who to ask."""
    say, out = words.page.label, list[Flowable]()
    for title, lines in checks.items():
        out.append(paragraph(title, 13, bold=True, before=8))
        out += [paragraph(f"☐ {line}", 11, indent=15) for line in lines]
    for title, texts in ((say("card_setting_up"), setting_up), (say("card_plan"), told)):
        if texts:
            out.append(paragraph(title, 13, bold=True, before=8))
            out += [paragraph(f"• {text}", 10, indent=10) for text in texts]
    out.append(paragraph(say("card_cautions"), 13, bold=True, before=8))
    out += [paragraph(f"• {caution}", 9.5, indent=10) for caution in words.page.cautions()]
    out.append(paragraph(say("card_ask"), 13, bold=True, before=8))
    asked = (("grower", "agronomist"), ("services", "emergency"))
    cells = [[cell for key in row for cell in (paragraph(say(f"card_{key}"), 9), "")] for row in asked]
    grid = [("LINEBELOW", (1, 0), (1, -1), 0.7, black), ("LINEBELOW", (3, 0), (3, -1), 0.7, black)]
    out.append(Table(cells, colWidths=[share * (_WIDTH - 12) for share in (0.24, 0.28, 0.18, 0.3)], style=grid))
    return out
