"""A real scheduler and real workers on this machine, each a process that can be killed."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[2]


@dataclass
class Started:
    """Processes of a cluster."""

    address: str
    folder: Path
    running: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def add_worker(self, name: str, environ: Mapping[str, str] | None = None) -> subprocess.Popen[bytes]:
        """One more worker, with one thread and no other process that would start it again."""
        words = ["worker", self.address, "--no-nanny", "--nthreads", "1", "--no-dashboard", "--name", name]
        words += ["--local-directory", str(self.folder), "--memory-limit", "4GB"]
        self.running.append(_dask(self.folder / f"{name}.log", *words, environ=environ))
        return self.running[-1]


@contextmanager
def cluster(folder: Path) -> Iterator[Started]:
    """A scheduler; it and all workers that were added are ended after the block."""
    told = folder / "scheduler.json"
    words = ["scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(told)]
    scheduler = _dask(folder / "scheduler.log", *words)
    started = Started("", folder, [scheduler])
    try:
        started.address = _address(told, scheduler)
        yield started
    finally:
        for process in reversed(started.running):
            process.send_signal(signal.SIGKILL)
            process.wait()


def _dask(log: Path, kind: str, *words: str, environ: Mapping[str, str] | None = None) -> subprocess.Popen[bytes]:
    path = os.pathsep.join(map(str, (ROOT / "pipeline", ROOT / "tests")))
    with log.open("wb") as out:
        return subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.dask_{kind}", *words], stdout=out, stderr=out,
            env={**os.environ, "PYTHONPATH": path, **(environ or {})},
        )  # fmt: skip


def _address(told: Path, scheduler: subprocess.Popen[bytes]) -> str:
    import json

    while scheduler.poll() is None:
        try:
            return str(json.loads(told.read_text())["address"])
        except (OSError, ValueError):
            time.sleep(0.05)
    message = "the scheduler ended before it told its address"
    raise RuntimeError(message)
