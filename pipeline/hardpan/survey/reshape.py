"""Tables that do not hold a row an insertion or reading: without a header, with parts joined, in blocks of lines."""

import re
from collections.abc import Mapping, Sequence

from hardpan.survey.columns import HEADER_ROWS, Text, TextTable
from hardpan.survey.settings import ColumnSettings, ProbeSettings
from hardpan.survey.vocabulary import STRONG, SYNONYMS, bare, fold

POSITION = frozenset(
    (
        "position", "positions", "coordinates", "coordinate", "coords", "gps", "gps position", "gps coordinates",
        "lat lon", "lat long", "latlon", "latlong", "lat lng", "latitude longitude", "geolocation", "koordinaten",
        "coordenadas",
    )
)  # fmt: skip
"""Names of a column that holds latitude and longitude, folded and bare."""
_PAIR = re.compile(
    r"\(?\s*(?P<lat>[NS]?\s*[+\-−]?\d{1,2}\.\d+\s*°?\s*[NS]?)\s*[,;/ ]\s*"
    r"(?P<lon>[EW]?\s*[+\-−]?\d{1,3}\.\d+\s*°?\s*[EW]?)\s*\)?",
    re.IGNORECASE,
)

HEAD_ROLES = ("site", "insertion", "x", "y", "date", "device")
_NAMED_VALUE = re.compile(r"\s*([^:=\d][^:=]{0,40}?)\s*[:=]\s*(.+?)\s*")
_NUMERIC = re.compile(r"[~'<>≥]?\s*[+\-−]?[\d.,]+.{0,12}")


def reshape(grid: TextTable, settings: ProbeSettings) -> TextTable:
    """Table with a header, one column for the site and one each for latitude and longitude."""
    if settings.names:
        grid = _headed(grid, settings.names)
    if isinstance(settings.columns.site, tuple):
        grid = _joined(grid, settings.columns.site, settings.columns.asked("site") or "")
    return _parted(grid)


def _headed(grid: TextTable, names: Sequence[str]) -> TextTable:
    lines = [0, *grid.lines.tolist()]
    return TextTable.of(grid.file, [list(names), *grid.rows()], lines)


def _joined(grid: TextTable, parts: Sequence[str], name: str) -> TextTable:
    """Table with a further column of the cells of several, joined."""
    wanted = [fold(part) for part in parts]
    for row, cells in enumerate(grid.rows(HEADER_ROWS)):
        folded = [fold(cell) for cell in cells]
        if set(wanted) <= set(folded):
            columns = [grid.columns[folded.index(part)].cells for part in wanted]
            keys = ["-".join(filter(None, key)) for key in zip(*columns, strict=True)]
            return _added(grid, row, {name: keys})
    return grid


def _parted(grid: TextTable) -> TextTable:
    """Table with columns of latitude and longitude, where one column holds both."""
    for row, cells in enumerate(grid.rows(HEADER_ROWS)):
        for at, cell in enumerate(cells):
            if bare(fold(cell)) not in POSITION:
                continue
            column = grid.columns[at]
            found = [_PAIR.fullmatch(one.strip()) for one in column.cells]
            filled = [one for one in column.cells[row + 1 :] if one]
            if filled and sum(map(bool, found)) > len(filled) / 2:
                pair = {
                    "latitude": [match["lat"] if match else "" for match in found],
                    "longitude": [match["lon"] if match else "" for match in found],
                }
                return _added(grid, row, pair)
    return grid


def _added(grid: TextTable, row: int, columns: dict[str, list[str]]) -> TextTable:
    """Table with more columns at its right end, named in row `row` and blank above it."""
    width = len(grid.columns)
    more = []
    for name, cells in columns.items():
        more.append(Text.of(["" if at < row else name if at == row else cell for at, cell in enumerate(cells)]))
    widths = grid.widths.copy()
    widths[row:] = width + len(more)
    return TextTable(file=grid.file, columns=[*grid.columns, *more], widths=widths, lines=grid.lines)


def score_blocks(grid: TextTable, columns: ColumnSettings) -> int:
    """How often the first cells name a thing that they name about several insertions, 0 for no blocks."""
    rows = grid.rows()
    if not any(len(row) >= 2 and row[1] and _NUMERIC.fullmatch(row[0]) for row in rows):
        return 0  # readings are rows of depth and resistance
    keys = [role for row in rows for role in _pairs(row, columns)]
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
        match = _NAMED_VALUE.fullmatch(cell) if cell else None
        name, value = (
            (match[1], match[2]) if match else (cell.rstrip(":="), row[at + 1] if at == 0 and len(row) > 1 else "")
        )
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
