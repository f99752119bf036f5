"""Whole runs on open surveys; skipped where the data are not beside the repository."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from hardpan.records.evidence import PaddockRun
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock

HERE = Path(__file__).parent
DATA = HERE.parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def open_data() -> Callable[[str], Path]:
    """Give the folder of an open data set, or skip."""

    def folder(name: str) -> Path:
        if not (DATA / name).is_dir():
            pytest.skip(f"the open data set {name} is not beside the repository")
        return DATA / name

    return folder


@pytest.fixture(scope="session")
def run_on(open_data: Callable[[str], Path]) -> Callable[[str, str], PaddockRun]:
    """Give the run of a configuration of this folder on a data set."""

    def run(configuration: str, data: str) -> PaddockRun:
        open_data(data)
        return run_paddock(read_config(HERE / configuration), Clock(now=datetime(2027, 3, 1, tzinfo=UTC)))

    return run
