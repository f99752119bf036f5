"""Every example in a docstring of the numerics gives what it says."""

import doctest
import importlib
import pkgutil

import numpy as np
import pytest

import hardpan.geostat
import hardpan.spatial

MODULES = [
    info.name
    for room in (hardpan.geostat, hardpan.spatial)
    for info in pkgutil.iter_modules(room.__path__, f"{room.__name__}.")
] + ["hardpan.geostat"]

WITHOUT = {"hardpan.geostat.compiled", "hardpan.geostat.neighbours"}
"""Loops with a plain counterpart, and what they work on."""


@pytest.mark.parametrize("name", [name for name in MODULES if name not in WITHOUT])
def test_the_examples_hold(name):
    if name.endswith(".compiled"):
        pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    module = importlib.import_module(name)
    found = doctest.testmod(module, extraglobs={"np": np}, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.attempted > 0, f"{name} has no example"
    assert found.failed == 0
