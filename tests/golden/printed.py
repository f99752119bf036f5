"""Every number that report, job card, tables and terminal print of the same thing, gathered by a reader."""

import csv
import html
import re
import shutil
import subprocess
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from builders.pages import Seen

AREA, VOLUME, NUMBER = "(?:ha|ac)", "(?:L|gal)", r"([−-]?\d[\d,]*(?:\.\d+)?)"
DEPTH_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}


@dataclass(frozen=True, kw_only=True)
class Printed:
    """A number as it stands somewhere."""

    what: str
    where: str
    text: str

    @property
    def value(self) -> float:
        """The number."""
        return float(self.text.replace("−", "-").replace(",", ""))

    @property
    def unit(self) -> float:
        """One of its last digit."""
        return float(10 ** -len(self.text.partition(".")[2]))


def gather(folder: Path, said: str) -> list[Printed]:
    """Numbers in the report, the card where there is one, and the terminal's text; not those of CSV."""
    found = [*_headline(said.strip().splitlines()[-2], "terminal"), *_terminal(said), *_report(page_of(folder))]
    if (folder / "job-card.pdf").is_file() and shutil.which("pdftotext"):
        words = ["pdftotext", "-layout", "-l", "1", str(folder / "job-card.pdf"), "-"]
        found += _card(subprocess.run(words, capture_output=True, text=True, check=True).stdout.replace("\u00a0", " "))
    return found


def page_of(folder: Path) -> str:
    """Source of the report, its blanks all alike."""
    return (folder / "report.html").read_text(encoding="utf-8").replace("\u00a0", " ").replace("&nbsp;", " ")


def disagreements(printed: list[Printed]) -> list[str]:
    """Things for which two numbers are printed."""
    told = defaultdict(list)
    for one in printed:
        told[one.what].append(one)
    return [
        f"{what}: " + ", ".join(f"{one.text} ({one.where})" for one in ones)
        for what, ones in told.items()
        if len({one.value for one in ones}) > 1
    ]


def exact(folder: Path) -> dict[str, float]:
    """The same things as zones.csv and tallies.csv have them, in full."""
    found = {}
    with (folder / "tallies.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            zone = "" if row["zone"] == "total" else f"zone {row['zone']} "
            found |= (
                {f"{zone}{row['item']}": float(row["quantity"])} if row["item"] in {"area", "hours", "fuel"} else {}
            )
            if row["item"] in {"cost", "net return"}:
                name = {"cost": "cost", "net return": "return"}[row["item"]]
                found |= {f"{zone}{name}": float(row["price"]), f"{zone}{name} in all": float(row["amount"])}
                found["ripped"] = float(row["quantity"])
    with (folder / "zones.csv").open(encoding="utf-8") as file:
        found |= {f"zone {row['zone']} depth": float(row["depth_mm"]) for row in csv.DictReader(file)}
    return found


def tables_of(page: str) -> dict[str, list[list[str]]]:
    """Rows of the body of each table of a page, by its caption."""
    found = {}
    for table in re.findall(r"<table.*?</table>", page, re.DOTALL):
        caption = re.search(r"<caption>(.*?)</caption>", table, re.DOTALL)
        body = table.partition("</thead>")[2]
        rows = [
            re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.DOTALL)
            for row in re.findall(r"<tr>.*?</tr>", body, re.DOTALL)
        ]
        plain = [[html.unescape(re.sub(r"<[^>]+>", "", cell)).strip() for cell in row] for row in rows]
        found["" if caption is None else html.unescape(caption[1])] = plain
    return found


def _all(pattern: str, text: str, *names: str, where: str) -> Iterator[Printed]:
    for match in re.finditer(pattern, text):
        for name, number in zip(names, match.groups(), strict=True):
            yield Printed(what=name, where=where, text=number)


def _headline(text: str, where: str) -> Iterator[Printed]:
    yield from _all(rf"Rip {NUMBER} of {NUMBER} {AREA}", text, "ripped", "area", where=where)
    yield from _all(rf"Leave all {NUMBER} {AREA}", text, "area", where=where)
    yield from _all(rf"about {NUMBER} \$/{AREA}, {NUMBER} h \(", text, "cost", "hours", where=where)
    yield from _all(rf"\) and {NUMBER} {VOLUME};", text, "fuel", where=where)
    yield from _all(rf"expected to return {NUMBER} \$/{AREA}", text, "return", where=where)
    yield from _all(
        rf"range {NUMBER} to {NUMBER}, chance of a loss {NUMBER} %", text, "low", "high", "loss", where=where
    )


def _terminal(said: str) -> Iterator[Printed]:
    head, *rows = (re.split(r"\s{2,}", line.strip()) for line in said.strip().splitlines()[:-2])
    for row in rows:
        cells, where = dict(zip(head, row, strict=True)), "terminal"
        yield Printed(what=f"zone {cells['zone']} area", where=where, text=row[1])
        yield Printed(what=f"zone {cells['zone']} depth", where=where, text=_mm(f"{row[2]} {head[2].split()[-1]}"))
        if cells["set-up"] != "-":
            yield Printed(what=f"zone {cells['zone']} return", where=where, text=row[4])


def _mm(depth: str) -> str:
    """A depth with its unit as whole millimetres."""
    number, unit = depth.split()
    return f"{float(number) * DEPTH_MM[unit]:.0f}"


def _report(page: str) -> Iterator[Printed]:
    where, pieces = "report", Seen(page).pieces
    for piece in pieces:
        if re.match(r"(Rip [\d.]+ of|Leave all) ", piece):
            yield from _headline(piece, where)
        yield from _all(rf"^The cost of {NUMBER} \$/{AREA}", piece, "cost", where=where)
        yield from _all(rf"^The same work costs about {NUMBER} \$/{AREA} with your own", piece, "cost", where=where)
        if piece.startswith("Depth map. ") and " at " in piece:
            parts = re.findall(rf"{NUMBER} {AREA} at", piece)
            yield Printed(what="ripped", where="caption of the map", text=f"{sum(map(float, parts)):.1f}")
    yield from _zone_headings(pieces)
    yield from _report_tables(tables_of(page))


def _zone_headings(pieces: list[str]) -> Iterator[Printed]:
    zone, where = "", "heading of the report"
    for piece in pieces:
        if title := re.match(rf"Zone (\d+): (?:{NUMBER} (mm|cm|in), )?.*?{NUMBER} {AREA}, ", piece):
            zone = title[1]
            yield Printed(what=f"zone {zone} area", where=where, text=title[4])
            if title[2]:
                yield Printed(what=f"zone {zone} depth", where=where, text=_mm(f"{title[2]} {title[3]}"))
        names = (f"zone {zone} hours", f"zone {zone} fuel", f"zone {zone} loss")
        yield from _all(rf"^\d+ pass.*; {NUMBER} h, {NUMBER} {VOLUME};.*loss {NUMBER} %", piece, *names, where=where)


def _report_tables(tables: dict[str, list[list[str]]]) -> Iterator[Printed]:
    for caption, rows in tables.items():
        if caption.startswith("One row a zone"):
            for zone, depth, area, *_ in (row for row in rows if len(row) == 4):
                yield Printed(what=f"zone {zone} area", where="first table", text=area.split()[0])
                if depth[0].isdigit():
                    yield Printed(what=f"zone {zone} depth", where="first table", text=_mm(depth))
        if caption.startswith("This plan, by your own"):
            row = next(row for row in rows if row[0] == "prescription")
            names = ("ripped", "cost in all", "fuel", "hours", None, "return in all", None, None, "loss")
            for name, cell in zip(names, row[2:11], strict=True):
                if name and cell[0] in "−0123456789":
                    yield Printed(what=name, where="table of strategies", text=cell.split()[0])
        if caption.startswith("Present value"):
            for zone, cell, *_ in (row for row in rows if row[1][0] in "−0123456789"):
                name = "return" if zone == "total" else f"zone {zone} return"
                yield Printed(what=name, where="table of paybacks", text=cell.split()[0])


def _card(front: str) -> Iterator[Printed]:
    total = re.search(rf"All ripping +{NUMBER} {AREA} +{NUMBER} h +{NUMBER} {VOLUME}", front)
    if total:
        for name, text in zip(("ripped", "hours", "fuel"), total.groups(), strict=True):
            yield Printed(what=name, where="card", text=text)
    above = front[: total.start()] if total else front
    rows = re.findall(rf"{NUMBER} {AREA} +{NUMBER} h +{NUMBER} {VOLUME}", above)
    for at, name in enumerate(("ripped", "hours", "fuel")):
        places = max((len(row[at].partition(".")[2]) for row in rows), default=0)
        if rows:
            value = sum(float(row[at].replace(",", "")) for row in rows)
            yield Printed(what=name, where="rows of the card", text=f"{value:.{places}f}")
