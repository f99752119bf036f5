"""Tables of any kind and layout, from a file to one grid of cells."""

from collections.abc import Callable
from typing import TypeVar

from hardpan.survey import blocks, delimited, headers, workbook
from hardpan.survey.columns import TextTable
from hardpan.survey.notes import Bundle, Log
from hardpan.survey.reshape import reshape
from hardpan.survey.settings import ProbeSettings

R = TypeVar("R")

TABLES = (".csv", ".txt", ".tsv", ".dat", ".asc", ".tab", ".prn")
"""Members of an archive that may be tables."""


def open_table(bundle: Bundle, sheet: str | None, score: Callable[[TextTable], int], log: Log) -> TextTable:
    """Table of a text file, a workbook or an archive that `score` can make sense of."""
    named: dict[str, TextTable] = {}
    for member, blob in bundle.members.items():
        if workbook.is_workbook(blob):
            named |= workbook.sheets(blob, bundle.name)
        elif len(bundle.members) == 1 or member.lower().endswith(TABLES) or member == sheet:
            text, told = delimited.decode(blob, bundle.name)
            log.note(told)
            named[member] = delimited.split(text, bundle.name, score)
    if len(named) == 1 and sheet is None:
        return next(iter(named.values()))
    return workbook.choose(named, sheet, {name: score(grid) > 0 for name, grid in named.items()}, bundle.name)


def fullest_header(table: TextTable, roles: Callable[[list[str]], dict[str, R]]) -> tuple[int, dict[str, R]]:
    """Row of the first rows of a table that names most `roles`, and those."""
    found = [roles(row) for row in table.rows(headers.HEADER_ROWS)]
    best = max(range(len(found)), key=lambda at: (len(found[at]), -at), default=0)
    return best, found[best] if found else {}


def open_readings(bundle: Bundle, settings: ProbeSettings, log: Log) -> TextTable:
    """Table of readings, wide or long; transposed tables and blocks are brought to those."""

    def score(grid: TextTable) -> int:
        grid = reshape(grid, settings)
        best = headers.score(grid, settings)
        if best == 0 or settings.layout == "transposed":
            best = max(best, headers.score(grid.transposed(), settings))
        return best if headers.names_insertions(grid, settings) else max(best, blocks.score(grid, settings.columns))

    grid = reshape(open_table(bundle, settings.sheet, score, log), settings)
    if settings.layout == "blocks":
        return blocks.to_long(grid, settings.columns)
    if settings.layout == "transposed":
        return grid.transposed()
    if settings.layout != "auto" or headers.names_insertions(grid, settings):
        return grid
    if blocks.score(grid, settings.columns):
        return blocks.to_long(grid, settings.columns)
    if headers.score(grid, settings) == 0:
        turned = grid.transposed()
        return turned if headers.score(turned, settings) else grid
    return grid
