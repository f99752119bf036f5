"""Processor time of a whole run by the vertices of its boundary: 100 ha, 40 sites, cells of 5 m, every format.

    python tests/benchmarks/coasts.py [VERTICES ...]

Each run is a process of its own. Processor time of all threads, imports among it: other work on the machine disturbs it
less than it disturbs wall time.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SIZES = (200, 2_000, 20_000, 40_000, 100_000)
ONE = "import sys; from hardpan.cli import app; app(['run', sys.argv[1], '--out', sys.argv[2]])"


def main(sizes: tuple[int, ...]) -> None:
    sys.path.insert(0, str(Path(__file__).parents[1]))
    from builders.coasts import Coast, write_coast

    print("| vertices | processor time, s | wall time, s | of it: stages, wall s |\n| --- | --- | --- | --- |")
    for vertices in sizes:
        with tempfile.TemporaryDirectory() as place:
            config, out = write_coast(Coast(vertices=vertices), Path(place) / "in"), Path(place) / "out"
            before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
            subprocess.run(
                [sys.executable, "-c", ONE, config, out], check=True, stdout=subprocess.DEVNULL, env=os.environ
            )
            wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
            spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            stages = json.loads((out / "run.json").read_text())["clock"]["timings_s"]
            told = ", ".join(f"{name} {seconds:.1f}" for name, seconds in stages.items())
            print(f"| {vertices:,} | {spent:.1f} | {wall:.1f} | {told} |", flush=True)


if __name__ == "__main__":
    main(tuple(map(int, sys.argv[1:])) or SIZES)
