"""The paddocks made by hand and the shipped tables, for every test of the room."""

import pytest

from builders import decision


@pytest.fixture(scope="session")
def made():
    return decision


@pytest.fixture(scope="session")
def catalog():
    return decision.shipped_catalog()
