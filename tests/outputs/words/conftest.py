"""The shipped tables, and a way to read what is said without its hard spaces."""

from pathlib import Path

import pytest

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config


@pytest.fixture(scope="session")
def shipped():
    return read_catalog(Config(paddock={"name": "made", "boundary": Path("b")}, probes={"file": Path("p")}))


@pytest.fixture(scope="session")
def files(shipped):
    """English in the units of the files."""
    return speak(Units.of_files("AUD"), shipped)


@pytest.fixture(scope="session")
def metric(shipped):
    """English for a reader whose display shows centimetres."""
    return speak(Units.of(OutputSettings(), "AUD"), shipped)


@pytest.fixture(scope="session")
def us(shipped):
    """English for a reader of US units."""
    return speak(Units.of(OutputSettings(units="us"), "USD"), shipped)
