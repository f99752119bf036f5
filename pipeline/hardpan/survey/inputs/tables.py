"""Tables of any kind and layout, workbooks among them, from a file to one grid of cells."""

import io
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING, TypeVar

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.survey import delimited, headers
from hardpan.survey.columns import HEADER_ROWS, TextTable
from hardpan.survey.inputs import point_layers
from hardpan.survey.notes import Bundle, Log
from hardpan.survey.reshape import reshape, score_blocks, to_long
from hardpan.survey.settings import ProbeSettings

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

R = TypeVar("R")

TABLES = (".csv", ".txt", ".tsv", ".dat", ".asc", ".tab", ".prn")
"""Members of an archive that may be tables."""

MOST_CELLS = 20_000_000


def open_table(
    bundle: Bundle, sheet: str | None, score: Callable[[TextTable], int], log: Log, *, key: str = ""
) -> TextTable:
    """Table of a text file, a workbook, a layer of points or an archive that `score` can make sense of.

    `key` is the setting that names a sheet, layer or member; "" where there is none.
    """
    named: dict[str, TextTable] = {}
    if point_layers.holds_shapes(bundle) and not any(map(_may_be_table, bundle.members)):
        return point_layers.as_table(bundle, sheet, key=key, log=log)
    for member, blob in bundle.members.items():
        if is_workbook(blob):
            named |= sheets(blob, bundle.name)
        elif len(bundle.members) == 1 or _may_be_table(member) or member == sheet:
            text, told = delimited.decode(blob, bundle.name)
            log.note(told)
            named[member] = delimited.split(text, bundle.name, score)
    if len(named) == 1 and sheet is None:
        return next(iter(named.values()))
    return choose(named, sheet, {name: score(grid) > 0 for name, grid in named.items()}, bundle.name, key=key)


def _may_be_table(member: str) -> bool:
    return member.lower().endswith(TABLES)


def fullest_header(table: TextTable, roles: Callable[[list[str]], dict[str, R]]) -> tuple[int, dict[str, R]]:
    """Row of the first rows of a table that names most `roles`, and those."""
    found = [roles(row) for row in table.rows(HEADER_ROWS)]
    best = max(range(len(found)), key=lambda at: (len(found[at]), -at), default=0)
    return best, found[best] if found else {}


def open_readings(bundle: Bundle, settings: ProbeSettings, log: Log) -> TextTable:
    """Table of readings, wide or long; transposed tables and blocks are brought to those."""

    def score(grid: TextTable) -> int:
        if len(grid.columns) < 2:
            return 0  # a depth and its resistance stand in two cells
        grid = reshape(grid, settings)
        best = headers.score(grid, settings)
        if best == 0 or settings.layout == "transposed":
            best = max(best, headers.score(grid.transposed(), settings))
        return best if headers.names_insertions(grid, settings) else max(best, score_blocks(grid, settings.columns))

    opened = open_table(bundle, settings.sheet, score, log, key="probes.sheet")
    return replace(_arranged(reshape(opened, settings), settings), crs=opened.crs)


def _arranged(grid: TextTable, settings: ProbeSettings) -> TextTable:
    """A wide or long table of what may be transposed or in blocks."""
    if settings.layout == "blocks":
        return to_long(grid, settings.columns)
    if settings.layout == "transposed":
        return grid.transposed()
    if settings.layout != "auto" or headers.names_insertions(grid, settings):
        return grid
    if score_blocks(grid, settings.columns):
        return to_long(grid, settings.columns)
    if headers.score(grid, settings) == 0:
        turned = grid.transposed()
        return turned if headers.score(turned, settings) else grid
    return grid


def is_workbook(blob: bytes) -> bool:
    """Whether the bytes are a workbook of the open XML format."""
    return blob.startswith(b"PK\x03\x04") and b"xl/workbook.xml" in blob


def sheets(blob: bytes, file: str) -> dict[str, TextTable]:
    """Every sheet of a workbook as text; cells of formulas without a stored value come as "#N/A".

    Raises
    ------
    InputError
        The workbook is damaged, or holds a document type declaration.
    """
    import openpyxl

    try:
        _refuse_doctype(blob, file)
        with warnings.catch_warnings(action="ignore"):
            values = openpyxl.load_workbook(io.BytesIO(blob), read_only=True, data_only=True, keep_links=False)
            formulas = openpyxl.load_workbook(io.BytesIO(blob), read_only=True, data_only=False, keep_links=False)
            return {
                sheet.title: TextTable.of(f"{file} sheet {sheet.title}", _cells(sheet, formulas[sheet.title], file))
                for sheet in values.worksheets
            }
    except InputError:
        raise
    except Exception as err:  # whatever a damaged workbook makes the library say
        raise InputError(what=f"damaged workbook: {str(err)[:120]}", where=file, do="save it again as xlsx") from err


def _refuse_doctype(blob: bytes, file: str) -> None:
    with zipfile.ZipFile(io.BytesIO(blob)) as archive:
        for info in archive.infolist():
            part = archive.read(info)
            if info.filename.endswith((".xml", ".rels")) and (
                b"<!DOCTYPE" in part or b"<!ENTITY" in part or b"\x00" in part[:200]
            ):
                raise InputError(what="workbook holds a document type declaration", where=file, do="save it again")


def _cells(sheet: "Worksheet", formulas: "Worksheet", file: str) -> list[list[str]]:
    rows: list[list[str]] = []
    count = 0
    for row, plain in zip(sheet.iter_rows(values_only=True), formulas.iter_rows(values_only=True), strict=False):
        count += len(row)
        if count > MOST_CELLS:
            raise InputError(what=f"sheet has more than {MOST_CELLS} cells", where=file)
        rows.append([_text(value, source) for value, source in zip(row, plain, strict=False)])
    return rows


def _text(value: object, source: object) -> str:
    if value is None:
        return "#N/A" if isinstance(source, str) and source.startswith("=") else ""
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime | date):
        return value.isoformat()[:10]
    return str(value).strip()


def choose(named: dict[str, TextTable], wanted: str | None, fits: dict[str, bool], file: str, *, key: str) -> TextTable:
    """Sheet or archive member that is asked for, or the only one that looks like a table.

    Raises
    ------
    AmbiguousInputError
        Several fit.
    InputError
        None fits, or the wanted one is not there.
    """
    names = ", ".join(named)
    if wanted is not None:
        if wanted not in named:
            raise InputError(what=f"holds no sheet or member {wanted!r}", where=file, right=f"one of {names}")
        return named[wanted]
    good = [name for name, fit in fits.items() if fit]
    if len(good) > 1:
        raise AmbiguousInputError(what=f"several tables: {', '.join(good)}", where=file, do=_naming(key))
    if not good:
        raise InputError(
            what=f"no sheet or member looks like the table that is wanted (has {names or 'no table'})",
            where=file,
            do="name the right one in probes.sheet and its columns in [probes.columns]" if key else "check the file",
        )
    return named[good[0]]


def _naming(key: str) -> str:
    return f"name one in {key}" if key else "give a file with that one table"
