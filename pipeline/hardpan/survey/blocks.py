"""A small header and then depth and value lines for each insertion: put into one long table."""

import re
from collections.abc import Mapping, Sequence

from hardpan.survey.columns import TextTable
from hardpan.survey.settings import ColumnSettings
from hardpan.survey.vocabulary import STRONG, SYNONYMS, bare, fold

HEAD_ROLES = ("site", "insertion", "x", "y", "date", "device")
_PAIR = re.compile(r"\s*([^:=\d][^:=]{0,40}?)\s*[:=]\s*(.+?)\s*")
_NUMERIC = re.compile(r"[~'<>≥]?\s*[+\-−]?[\d.,]+.{0,12}")


def score(grid: TextTable, columns: ColumnSettings) -> int:
    """How often the first cells name a thing that they name about several insertions, 0 for no blocks."""
    keys = [role for row in grid.rows() for role in _pairs(row, columns)]
    return max((count for count in map(keys.count, ("site", "x", "y")) if count >= 2), default=0) and len(keys)


def to_long(grid: TextTable, columns: ColumnSettings) -> TextTable:
    """Long table with one header, from blocks; lines before the first block are left out.

    Names of the columns are kept where the blocks have a header of their own, since they carry the units.
    """
    names: dict[str, str] = {}
    about: dict[str, str] = {}
    heading = ["depth", "resistance"]
    rows: list[list[str]] = []
    lines: list[int] = []
    reading = False
    for row, line in zip(grid.rows(), grid.lines.tolist(), strict=True):
        pairs = _pairs(row, columns)
        if pairs:
            if reading:
                about, reading = {}, False
            names |= {role: name for role, (name, _) in pairs.items()}
            about |= {role: value for role, (_, value) in pairs.items()}
            continue
        cells = [cell for cell in row if cell]
        if about and len(cells) >= 2 and _NUMERIC.fullmatch(cells[0]):
            rows.append([*(about.get(role, "") for role in HEAD_ROLES), *row[:2]])
            lines.append(line)
            reading = True
        elif about and len(cells) >= 2:
            heading = list(row[:2])
    header = [*(names.get(role, role) for role in HEAD_ROLES), *heading]
    return TextTable.of(grid.file, [header, *rows], [1, *lines])


def _pairs(row: Sequence[str], columns: ColumnSettings) -> Mapping[str, tuple[str, str]]:
    """Role to name and value for the cells of a row that say something about an insertion."""
    found: dict[str, tuple[str, str]] = {}
    for at, cell in enumerate(row[:12]):
        match = _PAIR.fullmatch(cell) if cell else None
        name, value = (match[1], match[2]) if match else (cell, row[at + 1] if at == 0 and len(row) > 1 else "")
        role = _role(name, columns) if name and value and not _is_name(value) else None
        if role is not None and role not in found:
            found[role] = (name, value)
    return found


def _is_name(value: str) -> bool:
    """Whether a value is itself the name of a column, as in a header."""
    plain = bare(fold(value))
    return any(plain in names for names in SYNONYMS.values())


def _role(name: str, columns: ColumnSettings) -> str | None:
    folded = fold(name)
    for role in HEAD_ROLES:
        wanted = columns.asked(role)
        if wanted is not None and fold(wanted) == folded:
            return role
    plain = bare(folded)
    for role in HEAD_ROLES:
        if plain in SYNONYMS[role] or (
            not STRONG.get(role, frozenset()).isdisjoint(plain.split()) and len(plain.split()) <= 3
        ):
            return role
    return None
