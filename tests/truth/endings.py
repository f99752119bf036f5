"""The study of endings: whole paddocks that nobody chose, through the main job to the files.

Run `make truth`, or `python -m truth.endings [paddocks [first seed]]`; prints the table of tests/README.md.
"""

import sys
import tempfile
from collections import Counter
from multiprocessing import get_context
from pathlib import Path

from whole.trial import Outcome, take_seed

HELD_OUT = 10_000
"""First seed of the table; the paddocks of lower ones were looked at while faults were mended."""


def ending_of(seed: int) -> tuple[int, Outcome]:
    """Seed, and how its paddock ended."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            return seed, take_seed(seed, Path(folder), small=False)
        except Exception as err:
            return seed, Outcome(name="the trial broke", faults=(f"{type(err).__name__}: {err}",), seconds=0.0)


def main(paddocks: int, first: int) -> int:
    """Number of paddocks that did not end well; faults are written as they come, the table at the end."""
    endings: Counter[str] = Counter()
    seconds, bad = 0.0, 0
    # a pool of the executor kind can wait for ever once it replaces a worker (CPython issue 115634)
    with get_context("spawn").Pool(2, maxtasksperchild=25) as pool:
        for seed, outcome in pool.imap(ending_of, range(first, first + paddocks)):
            endings[outcome.name] += 1
            seconds += outcome.seconds
            bad += bool(outcome.faults)
            sys.stderr.writelines(f"seed {seed}, {outcome.name}: {fault}\n" for fault in outcome.faults)
    head = (
        f"{paddocks} paddocks from seed {first}, {bad} of them not well, {seconds / paddocks:.1f} s of processor each"
    )
    rows = [f"| {name} | {count} |" for name, count in endings.most_common()]
    sys.stdout.write("\n".join(["", head, "", "| ending | paddocks |", "| --- | --- |", *rows, ""]))
    return bad


if __name__ == "__main__":
    given = [int(argument) for argument in sys.argv[1:3]]
    sys.exit(min(main(*(given + [500, HELD_OUT][len(given) :])), 1))
