"""The paddock made by hand, for every test of the room."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def made():
    spec = importlib.util.spec_from_file_location("costs_paddocks", Path(__file__).with_name("paddocks.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def ledger(made):
    return made.ledger_of(made.plan_of(made.PADDOCK), options=made.options_of(uniform_depth_mm=450.0, zone_cost=20.0))
