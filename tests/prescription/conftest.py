"""The paddocks made by hand and the shipped tables, for every test of the room."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def made():
    spec = importlib.util.spec_from_file_location("prescription_paddocks", Path(__file__).with_name("paddocks.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def catalog(made):
    return made.shipped_catalog()
