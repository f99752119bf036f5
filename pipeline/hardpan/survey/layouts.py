"""Rows of cells to one table of insertions and one of readings, whatever the layout."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from hardpan.core.errors import InputError
from hardpan.records.issues import Issue
from hardpan.survey.words import Grid, Heading, TextReadings, listed, warned

COMMENTS = ("#", "//", "%", "!")
MOST_DAMAGED = 0.2
"""Share of damaged rows beyond which the separator or the file is wrong, not some rows."""
_IDENTITY = ("site", "insertion", "x", "y", "date")


def gather(grid: Grid, heading: Heading) -> TextReadings:
    """Give the readings of a table with heading `heading`, as text.

    Raises
    ------
    InputError
        No rows, or too many of them damaged.
    """
    kept, lines, issues = _body(grid, heading)
    table = pd.DataFrame(kept, dtype=object) if kept else pd.DataFrame()
    if table.empty:
        raise InputError(what="table has a header but no rows", where=grid.file, do="export it again")
    row = np.asarray(lines, dtype=np.int64)
    columns = [table[at].to_numpy(dtype=object) for at in range(table.shape[1])]
    identity = pd.DataFrame(
        {name: columns[heading.roles[name]] if name in heading.roles else "" for name in _IDENTITY}
    ).assign(row=row)
    moisture = columns[heading.roles["moisture"]] if "moisture" in heading.roles else None
    issues = (*grid.issues, *heading.issues, *issues)
    if heading.depths:
        return _wide(grid.file, identity, columns, heading, moisture=moisture, issues=issues)
    return _long(grid.file, identity, columns, heading, moisture=moisture, issues=issues)


def _body(grid: Grid, heading: Heading) -> tuple[list[list[str]], list[int], tuple[Issue, ...]]:
    width = len(heading.names)
    fixed = heading.layout == "long"
    need = max(heading.roles.values()) + 1
    rows: list[list[str]] = []
    lines: list[int] = []
    dropped: dict[str, list[int]] = {"blank": [], "comment": [], "repeated header": [], "short": [], "too long": []}
    names = list(heading.names)
    for at in range(heading.row + 1, len(grid.rows)):
        row, line = grid.rows[at], grid.lines[at]
        if at in heading.skip:
            continue
        kind = _damage(row, names, width, need if fixed else 0)
        if kind:
            dropped[kind].append(line)
            continue
        rows.append(list(row[:width]) if len(row) >= width else [*row, *[""] * (width - len(row))])
        lines.append(line)
    hurt = len(dropped["short"]) + len(dropped["too long"])
    if hurt > MOST_DAMAGED * max(hurt + len(rows), 1):
        first = min(dropped["short"] + dropped["too long"])
        raise InputError(
            what=f"{hurt} of {hurt + len(rows)} rows do not have the header's {width} cells",
            where=f"{grid.file} row {first}",
            do="check separator and decimal mark, and export it again",
        )
    issues = tuple(
        warned(
            "damaged-rows",
            f"{len(found)} {kind} row{'s' if len(found) > 1 else ''} among the readings",
            "skipped",
            file=grid.file,
            place=f"row {listed(found)}",
        )
        for kind, found in dropped.items()
        if found and not (kind == "blank" and _only_trailing(found, lines))
    )
    return rows, lines, issues


def _damage(row: Sequence[str], names: list[str], width: int, need: int) -> str:
    if not any(row):
        return "blank"
    if row[0].startswith(COMMENTS):
        return "comment"
    if row[0] == names[0] and list(row) == names:
        return "repeated header"
    if len(row) < need:
        return "short"
    return "too long" if len(row) > width and any(row[width:]) else ""


def _only_trailing(blank: list[int], lines: list[int]) -> bool:
    return not lines or min(blank) > lines[-1]


def _wide(
    file: str,
    identity: pd.DataFrame,
    columns: list[np.ndarray],
    heading: Heading,
    *,
    moisture: np.ndarray | None,
    issues: tuple[Issue, ...],
) -> TextReadings:
    depths = heading.depths
    rows, wide = len(identity), len(depths)
    values = np.column_stack([columns[depth.index] for depth in depths]).reshape(-1)
    return TextReadings(
        file=file,
        insertions=identity,
        code=np.repeat(np.arange(rows), wide),
        depth=np.tile([depth.depth for depth in depths], rows),
        thickness=np.tile([depth.thickness for depth in depths], rows).astype(np.float64),
        value=values,
        moisture=None if moisture is None else np.repeat(moisture, wide),
        row=np.repeat(identity["row"].to_numpy(dtype=np.int64), wide),
        issues=issues,
    )


def _long(
    file: str,
    identity: pd.DataFrame,
    columns: list[np.ndarray],
    heading: Heading,
    *,
    moisture: np.ndarray | None,
    issues: tuple[Issue, ...],
) -> TextReadings:
    code = np.zeros(len(identity), dtype=np.int64)
    for name in _IDENTITY:
        part, unique = pd.factorize(identity[name])
        code = pd.factorize(code * max(len(unique), 1) + part)[0]
    first = np.unique(code, return_index=True)[1]
    return TextReadings(
        file=file,
        insertions=identity.iloc[first].reset_index(drop=True),
        code=code,
        depth=columns[heading.roles["depth"]],
        thickness=np.zeros(len(code)),
        value=columns[heading.roles["resistance"]],
        moisture=moisture,
        row=identity["row"].to_numpy(dtype=np.int64),
        issues=issues,
    )
