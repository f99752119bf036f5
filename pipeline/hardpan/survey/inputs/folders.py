"""Records in the folder of an earlier result."""

import json
from pathlib import Path
from typing import Any

from hardpan.core.errors import InputError

_RIGHT = "the result of `hardpan run`"


def read_record(folder: Path, name: str, *, holding: frozenset[str] = frozenset()) -> dict[str, Any]:
    """Content of the JSON file `name` that `hardpan run` wrote into a folder, with the keys `holding` at least.

    Raises
    ------
    InputError
        The folder or the file is missing, or the file is no such record.
    """
    path = folder / name
    if not path.is_file():
        nowhere = "" if folder.is_dir() else "no such folder, so it "
        raise InputError(what=f"{nowhere}holds no {name}", where=str(folder), right=_RIGHT, do="give its folder")
    try:
        document: dict[str, Any] = json.loads(path.read_bytes())
        known = document["tool"] == "hardpan" and holding <= document.keys()
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        known = False
    if not known:
        raise InputError(what="is no record of a run", where=str(path), right=_RIGHT)
    return document
