"""The study of endings: whole paddocks that nobody chose, through the main job to the files.

Run `make truth`, or `python -m truth.endings [paddocks [first seed]]`; prints the table of tests/README.md.
"""

import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from whole.trial import Outcome, take_seed

HELD_OUT = 10_000
"""First seed of the table; the paddocks of lower ones were looked at while faults were mended."""


def ending_of(seed: int) -> tuple[int, Outcome]:
    """Give how the paddock of a seed ended."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            return seed, take_seed(seed, Path(folder), small=False)
        except Exception as err:
            return seed, Outcome(name="the trial broke", faults=(f"{type(err).__name__}: {err}",), seconds=0.0)


def main(paddocks: int, first: int) -> int:
    """Write faults as they come and the table at the end; give how many paddocks did not end well."""
    endings: Counter[str] = Counter()
    seconds, bad = 0.0, 0
    with ProcessPoolExecutor(max_workers=2, max_tasks_per_child=25) as pool:
        for seed, outcome in pool.map(ending_of, range(first, first + paddocks)):
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
