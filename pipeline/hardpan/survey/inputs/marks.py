"""A further column of the probe files: what it says of each insertion."""

from pathlib import Path

import numpy as np

from hardpan.core.errors import InputError
from hardpan.records.survey import Profiles
from hardpan.survey import files, headers
from hardpan.survey.inputs.tables import open_readings
from hardpan.survey.notes import Log
from hardpan.survey.settings import ProbeSettings


def read_marks(settings: ProbeSettings, profiles: Profiles, column: str) -> tuple[str, ...]:
    """Text of a column at the first reading of each insertion, "" where its file has no such column.

    Raises
    ------
    InputError
        A file has the column twice.
    """
    paths = settings.file if isinstance(settings.file, tuple) else (settings.file,)
    said = {path.name: _column(path, settings, column) for path in paths}
    names, rows = (profiles.readings[name].to_numpy().tolist() for name in ("source_file", "source_row"))
    return tuple(said.get(str(name), {}).get(int(row), "") for name, row in zip(names, rows, strict=True))


def _column(path: Path, settings: ProbeSettings, column: str) -> dict[int, str]:
    """Row of the file to the text of its cell."""
    grid = open_readings(files.load(path, what="the probe readings"), settings, Log())
    heading = headers.find_heading(grid, settings)
    at = [place for place, name in enumerate(heading.names) if name.strip().casefold() == column.strip().casefold()]
    if len(at) > 1:
        raise InputError(what=f"{len(at)} columns are called {column}", where=path.name, do="rename all but one")
    if not at:
        return {}
    return dict(zip(np.asarray(grid.lines).tolist(), map(str, grid.columns[at[0]].cells), strict=True))
