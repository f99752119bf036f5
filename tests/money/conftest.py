"""The paddock made by hand, for every test of the room."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def made():
    spec = importlib.util.spec_from_file_location("costs_paddocks", Path(__file__).parents[1] / "costs" / "paddocks.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
