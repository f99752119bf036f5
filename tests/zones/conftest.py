"""The paddocks made by hand, for every test of the room."""

import pytest

from builders import zones


@pytest.fixture(scope="session")
def made():
    return zones
