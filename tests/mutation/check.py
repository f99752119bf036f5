"""Faults made on purpose, one at a time: does a test notice? Prints a table; run by `make mutants`.

The tree is copied to a temporary folder, so that nothing here is touched. The named tests run on the code as it is,
then after each fault of tests/house/mutants.toml. A fault is killed where a test fails, and survives where none does.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
TABLE = ROOT / "tests" / "house" / "mutants.toml"
COPIED = ("pipeline", "configs", "data", "tests", "pyproject.toml")
FAILED = 1
"""What pytest returns where tests ran and one failed; more than that is a fault of the table, not a kill."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One fault: `new` for `old`, which stands once in a module of pipeline/hardpan."""

    name: str
    file: str
    old: str
    new: str
    tests: Sequence[str]
    """Files or names of tests below tests/."""
    harm: str
    survives: str = ""
    """Why no test can tell, where it is known that none can."""

    def path(self, root: Path) -> Path:
        """Module that is changed, in the tree at `root`."""
        return root / "pipeline" / "hardpan" / self.file


def read_mutants() -> list[Mutant]:
    """All faults of the table."""
    return [Mutant(**row) for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["mutant"]]


def run_tests(root: Path, tests: Sequence[str]) -> int:
    """What pytest returns for tests of the tree at `root`, stopped at the first that fails."""
    environment = os.environ | {"PYTHONPATH": str(root / "pipeline"), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"]
    done = subprocess.run(
        [*command, *(f"tests/{test}" for test in tests)], cwd=root, env=environment, capture_output=True, check=False
    )
    if done.returncode > FAILED:
        sys.stderr.write(done.stdout.decode()[-2000:] + done.stderr.decode()[-2000:])
    return done.returncode


def try_mutant(root: Path, mutant: Mutant) -> bool:
    """Whether a test fails with the fault in the tree at `root`, which is left as it was."""
    path = mutant.path(root)
    right = path.read_text(encoding="utf-8")
    path.write_text(right.replace(mutant.old, mutant.new), encoding="utf-8")
    try:
        code = run_tests(root, mutant.tests)
    finally:
        path.write_text(right, encoding="utf-8")
    if code > FAILED:
        sys.exit(f"{mutant.name}: its tests did not run (pytest returned {code})")
    return code == FAILED


def main() -> None:
    """Print a line a fault and the count; 1 where a fault survives without a reason in the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("part", nargs="*", help="only faults whose name or file holds one of these")
    parts = asked.parse_args().part
    mutants = [one for one in read_mutants() if not parts or any(part in one.name + one.file for part in parts)]
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for name in COPIED:
            copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
            copy(ROOT / name, root / name)
        if run_tests(root, sorted({test for one in mutants for test in one.tests})):
            sys.exit("the tests named in the table fail on the code as it is")
        killed = {}
        for one in mutants:
            killed[one.name] = try_mutant(root, one)
            print(f"{'killed' if killed[one.name] else 'SURVIVED':<9} {one.file:<28} {one.name}", flush=True)
    print(f"{sum(killed.values())} of {len(killed)} killed")
    sys.exit(any(not killed[one.name] and not one.survives for one in mutants))


if __name__ == "__main__":
    main()
