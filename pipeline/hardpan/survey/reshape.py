"""Tables whose columns are not one thing each: without a header, with a site in several, with a position in one."""

import re
from collections.abc import Sequence

from hardpan.survey.columns import Text, TextTable
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.vocabulary import bare, fold

HEADER_ROWS = 60
"""A header further down is not looked for."""
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
