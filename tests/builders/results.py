"""Result folders as a run leaves them, made without a run."""

import json
from collections.abc import Callable
from pathlib import Path

from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.ownership import digests, sealed
from hardpan.records.trail import MANIFEST


def write_result(folder: Path, says: str) -> None:
    """Files and the manifest that lists them, as a run writes them."""
    (folder / "zones.csv").write_text(says)
    (folder / "report.html").write_text(f"<p>{says}</p>")
    document = {"tool": "hardpan", "version": "0", "clock": {"started": says}}
    (folder / MANIFEST).write_text(json.dumps(sealed(document, digests(folder)), indent=1, sort_keys=True))


def earlier_result(folder: Path) -> Path:
    folder.mkdir()
    write_result(folder, "old")
    return folder


def content(folder: Path) -> dict[str, bytes | str]:
    """Everything below a folder, links as where they lead."""
    return {
        str(path.relative_to(folder)): str(path.readlink()) if path.is_symlink() else path.read_bytes()
        for path in folder.rglob("*")
        if path.is_symlink() or path.is_file()
    }


def write_again(out: Path, meanwhile: Callable[[Path], None] = lambda _: None) -> None:
    """A new result in the place of the earlier one; `meanwhile` is what another does to the folder during the run."""
    with fresh_folder(out) as work:
        write_result(work, "new")
        meanwhile(out)
