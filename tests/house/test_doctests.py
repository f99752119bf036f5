"""The examples in docstrings say what comes out."""

import doctest
import importlib
from pathlib import Path

import numpy as np
import pytest

import hardpan

ROOT = Path(hardpan.__file__).parent
WITH_EXAMPLES = sorted(
    ".".join(("hardpan", *path.relative_to(ROOT).with_suffix("").parts))
    for path in ROOT.rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_the_examples_of_a_module_hold(name):
    module = importlib.import_module(name)
    assert doctest.testmod(module, extraglobs={"np": np}).failed == 0


def test_there_are_examples_to_hold():
    assert len(WITH_EXAMPLES) >= 5
