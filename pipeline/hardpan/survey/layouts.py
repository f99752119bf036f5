"""Columns of cells to one table of insertions and one of readings."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Ints
from hardpan.core.errors import InputError, clean
from hardpan.records.issues import Issue
from hardpan.survey.columns import Heading, Text, TextReadings, TextTable
from hardpan.survey.notes import listed, warned

MOST_INSERTIONS = 200_000
"""More in one paddock are positions or times taken for names."""
COMMENTS = ("#", "//", "%", "!")
MOST_DAMAGED = 0.2
"""Share of damaged rows beyond which the separator or the file is wrong, not some rows."""
_IDENTITY = ("site", "insertion", "x", "y", "date", "device")
_EXPONENT = r"\d+(?:[.,]\d+)?[eE]\+\d+"


def gather(grid: TextTable, heading: Heading) -> TextReadings:
    """Readings of a table with heading `heading`, as text.

    Raises
    ------
    InputError
        No rows, or too many of them damaged.
    """
    keep, issues = _sound_rows(grid, heading)
    if not keep.any():
        raise InputError(what="table has a header but no rows", where=grid.file, do="export it again")
    at = np.flatnonzero(keep)
    columns = {role: grid.columns[index].take(at) for role, index in heading.roles.items()}
    if "date" in columns:
        columns["date"] = columns["date"].map(lambda cell: cell.split("T")[0].split(" ")[0])
    gathered = _wide if heading.depths else _long
    return gathered(grid, heading, at, columns, (*heading.issues, *issues))


def _sound_rows(grid: TextTable, heading: Heading) -> tuple[Bools, tuple[Issue, ...]]:
    """Which rows below the header to read, and what the others are."""
    width, rows = len(heading.names), len(grid.lines)
    below = np.arange(rows) > heading.row
    below[list(heading.skip)] = False
    blank = np.logical_and.reduce([column.equals("") for column in grid.columns])
    first = grid.columns[0]
    comment = np.asarray([cell.startswith(COMMENTS) for cell in first.unique], dtype=bool)[first.codes]
    header = np.logical_and.reduce(
        [column.equals(name) for column, name in zip(grid.columns, heading.names, strict=False)]
    )
    extra = np.zeros(rows, dtype=bool)
    for column in grid.columns[width:]:
        extra |= ~column.equals("")
    need = 0 if heading.depths else max(heading.roles.values()) + 1
    kinds = {
        "blank": blank & (np.arange(rows) < np.flatnonzero(~blank)[-1]),
        "comment": comment,
        "repeated header": header,
        "short": grid.widths < need,
        "too long": extra,
    }
    bad, issues = ~below | blank, []
    damaged = np.zeros(rows, dtype=bool)
    for kind, hit in kinds.items():
        found = hit & below & ~(bad & ~blank) if kind == "blank" else hit & ~bad
        bad = bad | found
        damaged |= found & (kind in {"short", "too long"})
        if found.any():
            issues.append(_told(kind, grid.lines[found], grid.file))
    sound = below & ~bad
    if damaged.sum() > MOST_DAMAGED * (damaged | sound).sum():
        raise InputError(
            what=f"{damaged.sum()} of {(damaged | sound).sum()} rows do not have the header's {width} cells",
            where=f"{grid.file} row {grid.lines[damaged][0]}",
            do="check separator and decimal mark, and export it again",
        )
    return sound, tuple(issues)


def _told(kind: str, lines: Ints, file: str) -> Issue:
    what = f"{len(lines)} {kind} row{'s' if len(lines) > 1 else ''} among the readings"
    return warned("damaged-rows", what, "skipped", file=file, place=f"row {listed(lines.tolist(), 40)}")


def _identity(grid: TextTable, columns: dict[str, Text], at: Ints, pick: Ints) -> pd.DataFrame:
    if len(pick) > MOST_INSERTIONS:
        raise InputError(
            what=f"{len(pick)} insertions, one for nearly every reading",
            where=grid.file,
            do="check probes.columns.site and probes.columns.insertion",
        )
    table = pd.DataFrame(
        {name: columns[name].take(pick).cells if name in columns else "" for name in _IDENTITY},
        index=np.arange(len(pick)),
        dtype=object,
    )
    table["site"] = table["site"].map(clean).astype(object)
    broken = table["site"].str.fullmatch(_EXPONENT)
    if broken.any():
        raise InputError(
            what=f"site {table['site'][broken].iloc[0]!r} is a name turned into a number by a spreadsheet",
            where=f"{grid.file} row {grid.lines[at[pick]][broken.to_numpy()][0]}",
            do="export the names as text",
        )
    return table.assign(row=grid.lines[at[pick]])


def _wide(
    grid: TextTable, heading: Heading, at: Ints, columns: dict[str, Text], issues: tuple[Issue, ...]
) -> TextReadings:
    rows, wide = len(at), len(heading.depths)
    return TextReadings(
        file=grid.file,
        insertions=_identity(grid, columns, at, np.arange(rows)),
        code=np.repeat(np.arange(rows), wide),
        depth=np.tile([depth.depth for depth in heading.depths], rows).astype(np.float64),
        thickness=np.tile([depth.thickness for depth in heading.depths], rows).astype(np.float64),
        value=Text.side_by_side([grid.columns[depth.index].take(at) for depth in heading.depths]),
        moisture=columns["moisture"].take(np.repeat(np.arange(rows), wide)) if "moisture" in columns else None,
        spread=None if heading.spread is None else _beside(grid, heading.spread.columns, at),
        count=columns["n"].take(np.repeat(np.arange(rows), wide)) if "n" in columns else None,
        row=np.repeat(grid.lines[at], wide),
        issues=issues,
    )


def _beside(grid: TextTable, columns: tuple[int, ...], at: Ints) -> Text:
    """Cells of columns row by row, blank where there is none."""
    blank = Text.of([""] * len(at))
    return Text.side_by_side([grid.columns[column].take(at) if column >= 0 else blank for column in columns])


def _long(
    grid: TextTable, heading: Heading, at: Ints, columns: dict[str, Text], issues: tuple[Issue, ...]
) -> TextReadings:
    code = np.zeros(len(at), dtype=np.int64)
    for name in _IDENTITY:
        if name in columns:
            code = pd.factorize(code * len(columns[name].unique) + columns[name].codes)[0].astype(np.int64)
    return TextReadings(
        file=grid.file,
        insertions=_identity(grid, columns, at, np.unique(code, return_index=True)[1]),
        code=code,
        depth=columns["depth"],
        thickness=np.zeros(len(at)),
        value=columns["resistance"],
        moisture=columns.get("moisture"),
        spread=None if heading.spread is None else _beside(grid, heading.spread.columns, at),
        count=columns.get("n"),
        row=grid.lines[at],
        issues=issues,
    )
