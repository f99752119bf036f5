"""Every module of the numerics shows what it does; that the examples hold is tested with those of all modules."""

import doctest
import importlib
import pkgutil

import pytest

import hardpan.geostat

WITHOUT = {"hardpan.geostat.compiled", "hardpan.geostat.neighbours"}
"""Loops with a plain counterpart, and what they work on."""

MODULES = [info.name for info in pkgutil.iter_modules(hardpan.geostat.__path__, "hardpan.geostat.")]


@pytest.mark.parametrize("name", ["hardpan.geostat", *sorted({*MODULES} - WITHOUT)])
def test_a_module_has_an_example(name):
    module = importlib.import_module(name)
    assert any(found.examples for found in doctest.DocTestFinder().find(module))
