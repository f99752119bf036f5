"""One thread for the linear algebra library, as in a run."""

import pytest

from hardpan.core.threads import one_blas_thread


@pytest.fixture(autouse=True, scope="session")
def calm():
    with one_blas_thread():
        yield
