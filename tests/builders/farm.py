"""Lists of small paddocks, and work that stands in for a run; other processes import it too."""

import csv
import ctypes
import json
import os
import signal
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd

import hardpan
from hardpan.records.farm import Job, Outcome, Status
from hardpan.run.farm_job import work_paddock
from small_paddock import Small

NOW = datetime(2026, 3, 1, tzinfo=UTC)
DEFAULTS = '[defaults.outputs]\nformats = ["geojson"]\n'
PLAN = "[plan]\nfirst = 2027-03-01\nlast = 2027-03-05\n"
PAYING = {'soil.types."deep sand"': "first_year_gain = 3.0"}
"""A table with which the small paddock is worth ripping; invented."""


def job(name: str, folder: Path = Path("out"), **given: object) -> Job:
    asked = {
        "paddock": name, "place": f"list, {name}", "config": Path(f"{name}.toml"), "folder": folder / name,
        "defaults": {}, "version": hardpan.__version__, "now": NOW,
    }  # fmt: skip
    return Job(**{**asked, **given})


def do(job: Job) -> Outcome:
    """Done at once, with the threads that numerical libraries would hold."""
    return Outcome(slug=job.slug, status=Status.DONE, reason=os.environ.get("OPENBLAS_NUM_THREADS", ""))


def die_or_do(job: Job) -> Outcome:
    """End the process where the paddock is called so."""
    if job.paddock == "dies":
        os.kill(os.getpid(), signal.SIGKILL)
    return do(job)


def wait_or_do(job: Job) -> Outcome:
    """Take longer than any test where the paddock is called so."""
    if job.paddock == "waits":
        time.sleep(600.0)
    return do(job)


class _Blocks(ctypes.Structure):
    """mallinfo2(3), as far as the number of mapped blocks."""

    _fields_ = [(name, ctypes.c_size_t) for name in ("arena", "ordblks", "smblks", "hblks", *"abcdef")]


def work_and_count_mapped(job: Job) -> Outcome:
    """Work the paddock out; the reason says whether any of 50 blocks of 6 MB is mapped by itself.

    A C library left alone maps none: it learns from the 20 MB freed before. The first blocks may fill holes left
    before.
    """
    work_paddock(job)
    library = ctypes.CDLL(None)
    if not hasattr(library, "mallinfo2"):
        return Outcome(slug=job.slug, status=Status.DONE, reason="not told")
    library.mallinfo2.restype = _Blocks
    library.malloc.restype, library.free.argtypes = ctypes.c_void_p, [ctypes.c_void_p]
    library.free(library.malloc(ctypes.c_size_t(20_000_000)))
    before = library.mallinfo2().hblks
    blocks = [library.malloc(ctypes.c_size_t(6_000_000)) for _ in range(50)]
    mapped = library.mallinfo2().hblks > before
    for block in blocks:
        library.free(block)
    return Outcome(slug=job.slug, status=Status.DONE, reason="mapped" if mapped else "held")


def tell_and_wait(job: Job) -> Outcome:
    """Work that lasts longer than any test; the number of its process stands beside the job's folder."""
    told = job.folder.parent / "pid"
    told.with_suffix(".new").write_text(str(os.getpid()))
    told.with_suffix(".new").rename(told)
    time.sleep(600.0)
    return do(job)


def write_list(folder: Path, names: Sequence[str], more: str = DEFAULTS) -> Path:
    """Write a list of small paddocks that are worth ripping, and give its path."""
    lines = [more]
    for name in names:
        Small(tables={"paddock": f'name = "{name}"', **PAYING}).write(folder / name)
        lines.append(f'[[paddocks]]\nconfig = "{name}/paddock.toml"')
    path = folder / "farm.toml"
    path.write_text("\n".join(lines))
    return path


def rows(out: Path) -> dict[str, dict[str, str]]:
    """Rows of farm.csv by paddock."""
    with (out / "farm.csv").open(encoding="utf-8", newline="") as table:
        return {row["paddock"]: row for row in csv.DictReader(table)}


def statuses(out: Path) -> dict[str, str]:
    """What came of each paddock."""
    return {name: row["status"] for name, row in rows(out).items()}


def contents(folder: Path) -> dict[str, object]:
    """What every file below a folder holds but for times of writing, and what was kept."""
    found = {}
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        name = path.relative_to(folder).as_posix()
        if path.name == "run.json":
            document = json.loads(path.read_bytes())
            del document["clock"]
            found[name] = document
        elif path.suffix == ".gpkg":
            found[name] = gpd.read_file(path, layer="zones").to_wkb().to_csv()
        elif name not in {"farm.csv", "season.html"}:  # which tell what was kept
            found[name] = path.read_bytes()
    return found
