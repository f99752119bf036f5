"""Lists of small paddocks, and work that stands in for a run; other processes import it too."""

import os
import signal
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import hardpan
from hardpan.records.farm import Job, Outcome, Status
from small_paddock import Small

NOW = datetime(2026, 3, 1, tzinfo=UTC)
DEFAULTS = '[defaults.outputs]\nformats = ["geojson"]\n'
PAYING = '[defaults.numbers]\nsoils = { "deep sand" = { first_year_gain = "3 t/ha" } }\n'


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


def write_list(folder: Path, names: Sequence[str], more: str = DEFAULTS, **tables: str) -> Path:
    """Write a list of small paddocks, all with the same tables, and give its path."""
    lines = [more]
    for name in names:
        Small(tables={"paddock": f'name = "{name}"', **tables}).write(folder / name)
        lines.append(f'[[paddocks]]\nconfig = "{name}/paddock.toml"')
    path = folder / "farm.toml"
    path.write_text("\n".join(lines))
    return path
