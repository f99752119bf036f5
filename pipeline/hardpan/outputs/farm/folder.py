"""What in the folder of a farm is ours: its own files, and one result a paddock."""

import json
from collections.abc import Collection
from pathlib import Path

from hardpan.core.errors import Faults, HardpanError
from hardpan.outputs.ownership import LISTED, digest_of, is_sealed
from hardpan.records.trail import MANIFEST

FILES = ("farm.csv", "farm.gpkg", "season.csv", "season.html", "tallies.csv")
"""Files beside the folders of the paddocks and the manifest."""

REPLACED = "replaced_sha256"
"""Key under `clock` of the manifest: digests of the files that stood there before."""


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
