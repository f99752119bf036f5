"""The paddocks made by hand and the shipped tables, for every test of the room."""

import importlib.util
from pathlib import Path

import pytest

PADDOCKS = Path(__file__).parents[1] / "prescription" / "paddocks.py"


@pytest.fixture(scope="session")
def made():
    spec = importlib.util.spec_from_file_location(
        "prescription_paddocks", Path(__file__).parents[1] / "prescription" / "paddocks.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def catalog(made):
    return made.shipped_catalog()
