"""Wall and processor time of `hardpan demo`, stage by stage.

    python tests/benchmarks/demo.py [RUNS]

Each run is a process of its own, and the one that took least processor time is told: other work on the machine
lengthens both times, the wall time several times over. What lies before the first stage is Python, the command line
and the libraries that are loaded at once; others are loaded in the stage that needs them. Compiled modules are kept
(`PYTHONDONTWRITEBYTECODE` unset), as they are after an installation.
"""

import json
import logging
import os
import resource
import subprocess
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path


class Marks(logging.Handler):
    """Wall and processor time at which each stage begins."""

    def __init__(self):
        super().__init__(logging.INFO)
        self.begun = time.perf_counter()
        self.stages = []

    def emit(self, record):
        if record.msg.endswith("begins"):
            self.mark(*record.args)

    def mark(self, name):
        self.stages.append((name, time.perf_counter() - self.begun, sum(os.times()[:2])))


def run_demo(folder):
    """Run the demo in this process and print its marks."""
    marks, log = Marks(), logging.getLogger("hardpan.run.manifest")
    log.addHandler(marks)
    log.setLevel(logging.INFO)
    from hardpan.cli import main

    sys.argv = ["hardpan", "demo", "--out", folder]
    try:
        main()
    except SystemExit:
        marks.mark("end")
    print(json.dumps(marks.stages))


def measure():
    """Rows of stage, wall and processor time (s) of one run in a process of its own."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, __file__, "--in", str(Path(folder) / "out")]
        told = subprocess.run(command, check=True, capture_output=True, text=True, env=environment).stdout
        wall = time.perf_counter() - begun
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    marks = [("before the first stage", 0.0, 0.0), *json.loads(told.splitlines()[-1]), ("", wall, processor)]
    rows = [(name, then - at, used - so_far) for (name, at, so_far), (_, then, used) in pairwise(marks)]
    return [*rows, ("all", wall, processor)]


if __name__ == "__main__":
    if sys.argv[1:2] == ["--in"]:
        run_demo(sys.argv[2])
    else:
        runs = [measure() for _ in range(int(sys.argv[1]) if len(sys.argv) > 1 else 3)]
        for name, wall, processor in min(runs, key=lambda rows: rows[-1][2]):
            print(f"{name:<24}{wall:8.2f} s wall{processor:8.2f} s processor")
