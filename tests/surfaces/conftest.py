"""Invented paddocks for every test of the room."""

import pytest

import fields as invented
from hardpan.core.threads import one_blas_thread
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan


@pytest.fixture(autouse=True, scope="session")
def calm():
    """One thread for the linear algebra library, as in a run."""
    with one_blas_thread():
        yield


@pytest.fixture(scope="session")
def fields():
    return invented


@pytest.fixture(scope="session")
def truth(fields):
    return fields.invent(fields.Recipe(n_sites=40, side_m=600.0, cell_m=10.0, stopped=0.3), 11)


@pytest.fixture(scope="session")
def settings():
    return SurfaceSettings(cell_m=10.0, draws=200)


@pytest.fixture(scope="session")
def surfaces(truth, settings):
    return map_pan(truth.pan, truth.survey, settings, seed=3)
