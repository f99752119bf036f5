"""Whole runs on open surveys; skipped where the data are not beside the repository."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.records.evidence import PaddockRun
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock

HERE = Path(__file__).parent
DATA = HERE.parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def open_data() -> Callable[[str], Path]:
    """The folder of an open data set, or skip."""

    def folder(name: str) -> Path:
        if not (DATA / name).is_dir():
            pytest.skip(f"the open data set {name} is not beside the repository")
        return DATA / name

    return folder


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Callable[[PaddockRun], set[str]]:
    """The names of the files a run writes; every one is read back against the plan before it is kept."""

    def write(run: PaddockRun) -> set[str]:
        folder = tmp_path_factory.mktemp("real") / "out"
        write_outputs(run, OutputSettings(), folder)
        return {path.name for path in folder.iterdir()}

    return write


@pytest.fixture(scope="session")
def run_on(open_data: Callable[[str], Path]) -> Callable[[str, str], PaddockRun]:
    """The run of a configuration of this folder on a data set."""

    def run(configuration: str, data: str) -> PaddockRun:
        open_data(data)
        return run_paddock(read_config(HERE / configuration), Clock(now=datetime(2027, 3, 1, tzinfo=UTC)))

    return run
