"""What each column of a table stands for, by its name."""

import re
from collections.abc import Mapping, Sequence

from hardpan.survey.settings import ColumnSettings
from hardpan.survey.vocabulary import STRONG, SYNONYMS, bare, fold, pressure_unit, spread_of

PLACE = frozenset(("site", "x", "y"))
"""Roles of a table of positions."""
LONGEST_NAME = 80
_LETTER = re.compile(r"[^\W\d_]")


def find_roles(row: Sequence[str], columns: ColumnSettings) -> dict[str, int]:
    """Role to column: named by the user first, then by the surest whole name, then by a strong word."""
    folded = _folded(row)
    found = _named(row, folded, columns)
    cells = {at: bare(cell) for at, cell in folded.items()}
    for role, names in SYNONYMS.items():
        rank = {name: place for place, name in enumerate(names)}
        exact = [(rank[cell], at) for at, cell in cells.items() if cell in rank and at not in found.values()]
        if role not in found and exact:
            found[role] = min(exact)[1]
    for role in STRONG:
        loose = [at for at in _loose(role, folded, cells) if at not in found.values()]
        plain = [at for at in loose if not re.search(r"\d", cells[at])]
        if role not in found and plain:
            found[role] = plain[0]
    return found


def find_rivals(row: Sequence[str], roles: Mapping[str, int], columns: ColumnSettings) -> dict[str, tuple[int, ...]]:
    """Role to the other columns whose names would do as well as that of the column in `roles`.

    Looked for where two columns of numbers can both be meant: resistance, and of one name in two units depth and
    moisture. A role for which the settings name a column has none.
    """
    folded = _folded(row)
    cells = {at: bare(cell) for at, cell in folded.items()}
    found: dict[str, tuple[int, ...]] = {}
    for role in {"resistance", "depth", "moisture"} & roles.keys():
        if columns.asked(role):
            continue
        chosen = cells.get(roles[role], "")
        free = [at for at in cells if at not in roles.values()]
        if role == "resistance":
            others = {at for at in free if cells[at] in SYNONYMS[role]} | set(_loose(role, folded, cells))
        else:
            others = {at for at in free if cells[at] == chosen}
        found[role] = tuple(sorted(others & set(free)))
    return {role: others for role, others in sorted(found.items()) if others}


def _folded(row: Sequence[str]) -> dict[int, str]:
    return {
        at: fold(cell)
        for at, cell in enumerate(row)
        if len(cell) <= LONGEST_NAME and "\t" not in cell and _LETTER.search(cell)
    }


def _named(row: Sequence[str], folded: Mapping[int, str], columns: ColumnSettings) -> dict[str, int]:
    found: dict[str, int] = {}
    for role in SYNONYMS:
        wanted = columns.asked(role)
        same = [at for at, cell in enumerate(row) if wanted and cell == wanted]
        same += [at for at, cell in folded.items() if wanted and cell == fold(wanted)]
        if same:
            found[role] = same[0]
    return found


def _loose(role: str, folded: Mapping[int, str], cells: Mapping[int, str]) -> list[int]:
    """Columns with a strong word of the role; for resistance, after them, those with a unit of pressure."""
    loose = [at for at, cell in cells.items() if not STRONG[role].isdisjoint(cell.split())]
    folded = {at: cell for at, cell in folded.items() if spread_of(cell) is None}
    loose = [at for at in loose if at in folded]
    if role == "resistance":
        loose += [at for at, cell in folded.items() if pressure_unit(cell) not in {None, "N"} and at not in loose]
    return loose
