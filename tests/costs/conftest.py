"""The paddock made by hand, for every test of the room."""

import pytest

from builders import costs


@pytest.fixture(scope="session")
def made():
    return costs


@pytest.fixture(scope="session")
def ledger():
    return costs.ledger_of(costs.plan_of(costs.PADDOCK), user_uniform_depth_mm=450.0, zone_cost=20.0)
