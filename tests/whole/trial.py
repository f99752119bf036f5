"""One paddock through the command line, in this process: how it ended."""

import time
import traceback
import warnings
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

from hardpan.cli import app
from whole import reread
from whole.build import Built, build
from whole.endings import LATE, judge
from whole.recipe import draw

MANY = 24
"""Seeds from here on take too long for each run of the suite."""


@dataclass(frozen=True, kw_only=True)
class Ending:
    """What a command came to."""

    code: int
    said: tuple[str, ...]
    """The lines on standard error, one an error, or the last of the summary."""
    files: tuple[str, ...]
    warned: tuple[str, ...]
    """Warnings of libraries that the package let through."""
    seconds: float
    """Of the processor."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was found of one paddock."""

    name: str
    """Of the ending."""
    faults: tuple[str, ...]
    seconds: float
    """Of the processor, for the run."""


def command(*arguments: str) -> tuple[int, str, str, tuple[str, ...], float]:
    """Exit code, standard output, standard error, warnings and seconds of the processor of a command."""
    begun = time.process_time()
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        result = CliRunner().invoke(app, [*arguments])
    error = result.stderr
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        error += "".join(traceback.format_exception(result.exception))
    return (
        result.exit_code,
        result.stdout,
        error,
        tuple(sorted({str(one.message)[:160] for one in caught})),
        time.process_time() - begun,
    )


def run(config: Path, out: Path) -> Ending:
    """Run the main job of a configuration into `out`."""
    code, shown, error, warned, seconds = command("run", str(config), "--out", str(out))
    said = tuple(error.strip().splitlines()) or tuple(shown.strip().splitlines()[-1:])
    files = tuple(sorted(path.name for path in out.iterdir())) if out.is_dir() else ()
    return Ending(code=code, said=said, files=files, warned=warned, seconds=seconds)


def take(built: Built, out: Path) -> Outcome:
    """Check and run a paddock, and hold both against what its recipe has earned."""
    checked = command("check", str(built.config))
    ending = run(built.config, out)
    name, wrong = judge(built, ending.code, ending.said)
    faults = [wrong] if wrong else []
    faults += [f"warned: {one}" for one in (*ending.warned, *checked[3])]
    faults += reread.check(built, out) if ending.code == 0 else reread.not_written(out)
    refused = tuple(checked[2].strip().splitlines())
    if name in {one.name for one in LATE}:
        faults += [f"check ended with {checked[0]}"] if checked[0] else []
    elif checked[0] != ending.code:
        faults.append(f"check ended with {checked[0]} ({' '.join(refused)[:200]}), run with {ending.code}")
    elif checked[0] and refused != ending.said:
        faults.append(f"check says {refused}, run says {ending.said}")
    return Outcome(name=name, faults=tuple(faults), seconds=ending.seconds)


def take_seed(seed: int, folder: Path, *, small: bool) -> Outcome:
    """Build the paddock of a seed in `folder` and take it through the main job."""
    return take(build(draw(seed, small=small), folder / "given"), folder / "result")


def seeds(*, south: bool) -> list:
    """Seeds of sixty paddocks that lie south of the equator, or do not; those from `MANY` on for the slow tests."""
    found = [seed for seed in range(60) if (draw(seed, small=True).latitude < 0) is south]
    return [pytest.param(seed, marks=pytest.mark.slow if seed >= MANY else ()) for seed in found]
