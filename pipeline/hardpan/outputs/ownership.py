"""What in a folder is a result of this tool, byte for byte as it was written: all that a run or farm may replace."""

import hashlib
import json
import os
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

from hardpan.core.errors import Faults, HardpanError
from hardpan.records.trail import MANIFEST

LISTED, _SEAL = "files_sha256", "seal_sha256"
"""Keys under `clock` of the manifest: digests of all files beside it, and of its own content without this one."""

_NOT_PART = "which is not part of the earlier result"

FILES = ("farm.csv", "farm.gpkg", "season.csv", "season.html", "tallies.csv")
"""Files beside the folders of the paddocks and the manifest."""

REPLACED = "replaced_sha256"
"""Key under `clock` of the manifest: digests of the files that stood there before."""


def digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file below `folder` but its manifest, by its path inside, in order."""
    paths = {path.relative_to(folder).as_posix(): path for path in _entries(folder) if path.is_file()}
    return {name: digest_of(path) for name, path in sorted(paths.items()) if name != MANIFEST}


def sealed(document: dict[str, Any], files: dict[str, str]) -> dict[str, Any]:
    """Manifest with the digests of `files` and of itself under `clock`, JSON types only."""
    document = {**document, "clock": {**document.get("clock", {}), LISTED: files}}
    return {**document, "clock": {**document["clock"], _SEAL: _seal(document)}}


def is_sealed(document: dict[str, Any]) -> bool:
    """Whether a manifest stands as it was written."""
    clock = dict(document["clock"])
    return bool(clock.pop(_SEAL, "") == _seal({**document, "clock": clock}))


def not_ours(folder: Path) -> str:
    """Reason why the content of `folder` must not be replaced, "" where it is empty or a result nobody changed.

    A result is what its manifest lists with matching digests, under a manifest that matches its own. Listed files may
    be missing; nothing else may be there, no link and no folder either.
    """
    if not any(folder.iterdir()):
        return ""
    listed, reason = _listed(folder / MANIFEST)
    return reason or next(filter(None, (_objection(path, folder, listed) for path in _entries(folder))), "")


def missing_files(folder: Path) -> list[str]:
    """Files that the manifest of a result lists and that are not there."""
    return [name for name in _listed(folder / MANIFEST)[0] if not (folder / name).is_file()]


def changes_since(*folders: Path) -> Iterator[str]:
    """A line for each result with files that are not as its manifest lists them."""
    for folder in folders:
        listed = _listed(folder / MANIFEST)[0]
        changed = [name for name in listed if (folder / name).is_file() and digest_of(folder / name) != listed[name]]
        if changed:
            yield f"{folder}: {', '.join(changed)} changed since it was written; {MANIFEST} may not hold of it"


def _listed(manifest: Path) -> tuple[dict[str, str], str]:
    """Files that a manifest lists, and why it cannot be relied on, "" where it can."""
    if manifest.is_symlink() or not manifest.is_file():
        return {}, f"the folder is not empty and holds no {MANIFEST}, so it is not an earlier result"
    try:
        document = json.loads(manifest.read_bytes())
        ours, clock = document["tool"] == "hardpan", dict(document["clock"])
        seal, files = clock.pop(_SEAL, ""), dict(clock.get(LISTED, {}))
    except (ValueError, KeyError, TypeError, RecursionError):
        ours = False
    if not ours:
        return {}, f"holds a {MANIFEST} that this tool did not write"
    if not seal:
        return {}, f"its {MANIFEST} lists no files (older versions wrote none), so yours cannot be told from its own"
    return files, "" if seal == _seal({**document, "clock": clock}) else f"{MANIFEST} was changed since it was written"


def _objection(path: Path, folder: Path, listed: dict[str, str]) -> str:
    name = path.relative_to(folder).as_posix()
    if path.is_symlink():
        return f"holds the link {name}, {_NOT_PART}"
    if path.is_dir():
        return "" if any(one.startswith(f"{name}/") for one in listed) else f"holds the folder {name}, {_NOT_PART}"
    if name == MANIFEST:
        return ""
    if name not in listed or not path.is_file():
        return f"holds {name}, {_NOT_PART}"
    return "" if digest_of(path) == listed[name] else f"{name} was changed since the earlier result was written"


def _entries(folder: Path) -> Iterator[Path]:
    """Everything below `folder`, links not followed, in order."""
    for place, folders, files in os.walk(folder):
        folders.sort()
        yield from (Path(place) / name for name in sorted([*folders, *files]))


def digest_of(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _seal(document: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(document, sort_keys=True).encode()).hexdigest()


def check_farm_folder(folder: Path, slugs: Collection[str]) -> None:
    """Refuse a folder in which files of a farm, or results of its paddocks, would replace what is not ours.

    Anything else in it is left as it is. What a paddock's folder holds is looked at when its turn comes.

    Raises
    ------
    HardpanError
        One line for each file or folder that is not ours.
    """
    faults = Faults()
    if folder.exists() and not folder.is_dir():
        faults.errors.append(HardpanError(what="is a file", where=str(folder), do="give another --out"))
        faults.refuse()
    ours = own_files(folder)
    strange = [name for name in (*FILES, MANIFEST) if (folder / name).exists() and name not in ours]
    strange += [slug for slug in slugs if _is_strange(folder / slug)]
    for name in strange:
        faults.errors.append(
            HardpanError(
                what=f"holds {name}, which hardpan farm did not write or somebody changed", where=str(folder),
                do="move it away or give another --out",
            )
        )  # fmt: skip
    faults.refuse()


def own_files(folder: Path) -> dict[str, str]:
    """Digest of each file of a farm in a folder that stands as it was written, the manifest included."""
    path = folder / MANIFEST
    try:
        document = json.loads(path.read_bytes())
        if document["kind"] != "farm" or not is_sealed(document):
            return {}
        clock = document["clock"]
        known = [dict(clock.get(key, {})) for key in (LISTED, REPLACED)]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    found = {name: digest_of(folder / name) for name in FILES if (folder / name).is_file()}
    ours = {name: digest for name, digest in found.items() if any(each.get(name) == digest for each in known)}
    return ours | {MANIFEST: digest_of(path)}


def _is_strange(folder: Path) -> bool:
    """Whether something other than a result, or an empty folder, stands where a result is to go."""
    if not folder.exists():
        return False
    return not folder.is_dir() or (any(folder.iterdir()) and not (folder / MANIFEST).is_file())
