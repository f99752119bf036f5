"""Rows of the small CSV files that stand beside a list of paddocks."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path

from hardpan.core.errors import InputError


def read_rows(path: Path, *, where: str, what: str) -> tuple[list[str], Iterator[tuple[str, dict[str, str]]]]:
    """Names of the columns, and place and cells of each row that holds any text.

    Parameters
    ----------
    path : Path
        CSV in UTF-8 with a comma, semicolon or tab between cells.
    where, what : str
        How messages call its place, and the file that is wanted.

    Raises
    ------
    InputError
        There is no such file, or it is not in UTF-8.
    """
    if not path.is_file():
        raise InputError(what="no such file", where=where, do=f"give the path of {what}")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as err:
        raise InputError(what=f"is not UTF-8: {err.reason}", where=path.name, right=f"{what} in UTF-8") from err
    head = text.partition("\n")[0]
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=head.count))
    reader.fieldnames = [str(name).strip() for name in reader.fieldnames or ()]
    return list(reader.fieldnames), _rows(reader, path.name)


def _rows(reader: "csv.DictReader[str]", file: str) -> Iterator[tuple[str, dict[str, str]]]:
    for row in reader:
        if any(str(cell).strip() for cell in row.values() if cell):
            cells = {str(name): str(cell or "").strip() for name, cell in row.items() if name is not None}
            yield f"{file}, line {reader.line_num}", cells
