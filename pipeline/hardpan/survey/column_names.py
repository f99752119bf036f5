"""What the names of columns say: what each stands for, and depths such as "10 cm", "0-50 mm" or "CI 25"."""

import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Literal

from hardpan.survey.columns import DepthColumn, Spread
from hardpan.survey.settings import ColumnSettings, LayerSettings
from hardpan.survey.vocabulary import STRONG, SYNONYMS, bare, fold, is_unit, length_unit, pressure_unit, spread_of

PLACE = frozenset(("site", "x", "y"))
"""Roles of a table of positions."""
LONGEST_NAME = 80
_LETTER = re.compile(r"[^\W\d_]")

LONGEST_DEPTH_NAME = 40
_DEPTH_NAME = re.compile(
    r"(?P<lead>[a-z ./()\-\[\]]*?)(?P<top>-?\d+(?:[.,]\d+)?)(?:\s*(?:-|–|to| )\s*(?P<bottom>\d+(?:[.,]\d+)?))?"
    r"(?P<tail>[a-z2/ .()\[\]\"″\-]*)"
)
_PER_AREA = re.compile(r"(?:kgf?|k?n|lbf?)\s?[/. ]?\s?(?:cm|mm|in|m)\s?-?2(?!\d)")
"""Units whose 2 is no depth."""
_WORDS = frozenset(
    "d depth depths deep tiefe prof profundidad at below surface layer soil cone index ci pr rp penetration resistance"  # noqa: SIM905
    " strength reading kpa mpa psi bar kgf kn lb lbf sq mm cm m in".split()
)
"""What a name may hold beside the depth itself: words of depth and resistance, and units."""
_LEADS = _WORDS - {"depths", "deep", "below", "surface", "layer", "soil", "penetration", "resistance", "strength"}
"""What may stand before the depth: "soil 1" and "layer 2" are numbers of something else."""
_RANGE = re.compile(r"(\d+(?:[.,]\d+)?)\s?(?:-|–|to|/|\.\.)\s?(\d+(?:[.,]\d+)?)\s?(mm|cm|m|in|inch|inches|\"|″)?")
_MONTH = (
    r"(?:jan|ene|feb|fev|mar|mrz|apr|abr|avr|mai|may|jun|juin|jul|juil|aug|ago|aou|sep|set|okt|oct|out|nov|dez|dec|dic)"
    r"[a-z]{0,7}"
)
_DATE = re.compile(
    rf"\d{{1,4}}[-/. ]\s?{_MONTH}\.?(?:[-/. ]\d{{2,4}})?|{_MONTH}\.?[-/. ]\d{{1,4}}(?:, ?\d{{4}})?"
    r"|\d{4}-\d{1,2}-\d{1,2}(?:[t ].*)?|\d{1,2}([/.])\d{1,2}\1\d{2,4}(?: .*)?"
)
"""Day and month, month and year, or a whole date, as a spreadsheet shows a range such as 5-10 that it took for one."""


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


def depth_columns(row: Sequence[str], layers: Sequence[LayerSettings]) -> tuple[DepthColumn, ...]:
    """Columns that hold the readings of one depth each, none where the depths neither rise nor fall throughout.

    Parameters
    ----------
    row : sequence of str
        The names of the columns.
    layers : sequence of LayerSettings
        Columns the settings name as layers; where there are any, only those count.
    """
    if layers:
        return _layers(row, layers)
    columns = []
    for at, cell in enumerate(row):
        found = depth_of(fold(cell)) if cell and len(cell) <= LONGEST_DEPTH_NAME else None
        if found is not None:
            top, bottom, unit = found
            columns.append(DepthColumn(index=at, depth=(top + bottom) / 2, thickness=bottom - top, unit=unit))
    steps = [after.depth - before.depth for before, after in pairwise(columns)]
    return tuple(columns) if all(step > 0 for step in steps) or all(step < 0 for step in steps) else ()


def tangled(row: Sequence[str]) -> list[str]:
    """Names that are depths though `depth_columns` finds none, because they neither rise nor fall throughout."""
    if depth_columns(row, ()):
        return []
    return [cell for cell in row if cell and len(cell) <= LONGEST_DEPTH_NAME and depth_of(fold(cell)) is not None]


def dated(row: Sequence[str]) -> list[str]:
    """Names that are dates: depths such as 5-10, which a spreadsheet shows as 5-Oct, are lost in them."""
    return [cell for cell in row if cell and len(cell) <= LONGEST_DEPTH_NAME and _DATE.fullmatch(fold(cell))]


def other_numbers(row: Sequence[str]) -> list[str]:
    """Names that start with a number as a depth does, but go on with words of something else."""
    return [
        cell
        for cell in row
        if cell
        and len(cell) <= LONGEST_DEPTH_NAME
        and cell[0].isdigit()
        and spread_of(fold(cell)) is None
        and _DEPTH_NAME.fullmatch(fold(cell))
        and depth_of(fold(cell)) is None
    ]


def depth_of(name: str) -> tuple[float, float, str | None] | None:
    """Upper and lower end of the depth that a folded name states, equal for a point, and its unit; None for none."""
    match = _DEPTH_NAME.fullmatch(_PER_AREA.sub(" ", name).strip())
    if match is None or not _LEADS.issuperset(re.findall(r"[a-z]+", match["lead"])):
        return None
    if not all(word in _WORDS or is_unit(word) for word in re.findall(r"[a-z]+", match["tail"])):
        return None
    top = float(match["top"].replace(",", "."))
    bottom = float(match["bottom"].replace(",", ".")) if match["bottom"] else top
    unit = length_unit(f"{match['tail']} {match['lead']}")
    return None if bottom < top else (top, bottom, unit)


def ranges(cells: Sequence[str]) -> list[tuple[float, float, str] | None]:
    """Upper end, lower end and unit ("" where none is stated) of the layer each cell names, such as "10-20 cm"."""
    found = [_RANGE.fullmatch(fold(cell)) for cell in cells]
    ends = [
        (float(match[1].replace(",", ".")), float(match[2].replace(",", ".")), match[3] or "") if match else None
        for match in found
    ]
    return [layer if layer is not None and layer[0] < layer[1] else None for layer in ends]


def find_spread(
    names: Sequence[str], depths: Sequence[DepthColumn], roles: Mapping[str, int], units: Iterable[Sequence[str]]
) -> Spread | None:
    """Columns of the spread of the readings, standard errors before standard deviations; None without.

    Parameters
    ----------
    names : sequence of str
        The names of the columns.
    depths : sequence of DepthColumn
        Columns that hold the readings of one depth each, of which each may have a spread; none in the long layout.
    roles : mapping
        Role to column.
    units : iterable
        Rows of units beside the header, folded.
    """
    kinds: tuple[Literal["se"], Literal["sd"]] = ("se", "sd")
    for kind in kinds:
        columns = _of_depths(names, depths, kind) if depths else _of_readings(names, roles, kind)
        first = next((at for at in columns if at >= 0), None)
        if first is not None:
            stated = [fold(names[first]), *(row[first] for row in units if first < len(row))]
            unit = next(filter(None, map(pressure_unit, stated)), None)
            return Spread(kind=kind, columns=columns, name=names[first], unit=unit)
    return None


def _of_readings(names: Sequence[str], roles: Mapping[str, int], kind: str) -> tuple[int, ...]:
    """Column of the spread of the readings of the long layout: by its role, or of the name of the readings' column."""
    if kind in roles or "resistance" not in roles:
        return (roles[kind],) if kind in roles else ()
    known = {*SYNONYMS["resistance"], bare(fold(names[roles["resistance"]])).removeprefix("mean ")}
    spreads = ((at, spread_of(fold(name))) for at, name in enumerate(names))
    return tuple(at for at, found in spreads if found and found[0] == kind and bare(found[1]) in known)[:1]


def _of_depths(names: Sequence[str], depths: Sequence[DepthColumn], kind: str) -> tuple[int, ...]:
    """Column of each depth's spread, by its name without the word for it or by its depth; -1 without."""
    named: dict[str, int] = {}
    placed: dict[tuple[float, float], int] = {}
    for at, name in enumerate(names):
        found = spread_of(fold(name))
        if found is None or found[0] != kind:
            continue
        named[found[1]] = at
        depth = depth_of(found[1])
        if depth is not None:
            placed[(depth[0] + depth[1]) / 2, depth[1] - depth[0]] = at
    return tuple(named.get(fold(names[of.index]), placed.get((of.depth, of.thickness), -1)) for of in depths)


def _layers(row: Sequence[str], layers: Sequence[LayerSettings]) -> tuple[DepthColumn, ...]:
    if not {layer.column for layer in layers} <= set(row):
        return ()
    return tuple(
        DepthColumn(
            index=list(row).index(layer.column),
            depth=(layer.top + layer.bottom) / 2,
            thickness=layer.bottom - layer.top,
        )
        for layer in sorted(layers, key=lambda layer: layer.top)
    )
