"""The shipped tables, for every test of the room."""

import pytest

from builders import costs


@pytest.fixture(scope="session")
def made():
    return costs
