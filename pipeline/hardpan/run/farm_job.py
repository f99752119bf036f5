"""One paddock of many: what a process or a machine of the farm does for it."""

import json
import threading
import time
from pathlib import Path

import hardpan
from hardpan.core.allocator import collect_rarely, give_back, map_large_blocks
from hardpan.core.errors import HardpanError, InputError, SettingsError
from hardpan.outputs.ownership import missing_files
from hardpan.outputs.stage import check_folder, write_outputs
from hardpan.records.farm import Job, Outcome, Status
from hardpan.records.trail import MANIFEST
from hardpan.run.chain import prepare, run_paddock
from hardpan.run.config import Config, read_config
from hardpan.run.free_memory import begin_peak, held_bytes, peak_bytes
from hardpan.run.manifest import Clock, settings_of
from hardpan.run.projection import projected_bytes
from hardpan.survey import files

_ONE_AT_A_TIME = threading.Lock()
"""A process works out one paddock at a time, however many threads a worker has: its memory is projected for one."""


def work_paddock(job: Job) -> Outcome:
    """What came of one paddock; its result lies in its folder, or nothing is there. Raises no exception."""
    with _ONE_AT_A_TIME:
        begun = time.perf_counter()
        map_large_blocks()
        collect_rarely()
        begin_peak()
        projected, reason = None, ""
        try:
            status, projected = _work(job)
        except HardpanError as err:
            status, reason = Status.FAILED, "; ".join(str(err).splitlines())
        except MemoryError:
            status, reason = Status.FAILED, "there was not enough memory; see memory.share"
        except Exception as err:
            text = " ".join(str(err).split())[:200]
            status, reason = Status.FAILED, f"unexpected fault ({type(err).__name__}: {text}); please report it"
        peak = peak_bytes()
        give_back()
        return Outcome(
            slug=job.slug,
            status=status,
            reason=reason,
            seconds=time.perf_counter() - begun,
            peak_bytes=peak,
            projected_bytes=projected,
        )


def _work(job: Job) -> tuple[Status, float | None]:
    """What was done, and the memory it would take where only that was asked."""
    if job.version != hardpan.__version__:
        raise SettingsError(
            what=f"the worker has hardpan {hardpan.__version__}", right=job.version, do="install that on all workers"
        )
    config = read_config(job.config, defaults=job.defaults)
    check_folder(job.folder, (job.config, *config.inputs))
    if job.earlier and is_current(job.folder, config):
        return Status.KEPT, None
    clock = Clock(now=job.now)
    if job.dry:
        ready = prepare(config, clock, job.allotment)
        return Status.ASKED, held_bytes() + projected_bytes(ready, config)
    result = run_paddock(config, clock, allotment=job.allotment)
    with clock.stage("outputs"):
        write_outputs(result, config.outputs, job.folder)
    return Status.DONE, None


def is_current(folder: Path, config: Config) -> bool:
    """Whether the result in a folder is whole, and of this version, these settings and these inputs.

    That nobody changed its files is for `check_folder` to say.
    """
    if not (folder / MANIFEST).is_file() or missing_files(folder):
        return False
    try:
        document = json.loads((folder / MANIFEST).read_bytes())
        made_of = document["version"], document["settings_sha256"], document["inputs_sha256"]
        return made_of == (hardpan.__version__, settings_of(config)[1], _inputs(config))
    except (InputError, ValueError, KeyError, TypeError):
        return False


def _inputs(config: Config) -> dict[str, str]:
    """Digest of every input by its name, as a run notes them; what a response file says is among the settings."""
    paths = [path for path in config.inputs if path != config.soil.response]
    bundles = [files.load(path, what="the paddock") for path in paths]
    return {bundle.name: bundle.digest for bundle in bundles}
