"""The table of faults made on purpose (`make mutants`) is in step with code and tests, so that it cannot rot unseen."""

import ast
from collections import Counter
from pathlib import Path

import pytest

from mutation.check import ROOT, read_mutants

MUTANTS = read_mutants()


def names_in(path: Path) -> set[str]:
    """Functions at the top of a module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_there_are_forty_faults_or_more_of_different_names():
    assert len(MUTANTS) >= 40
    assert [name for name, count in Counter(one.name for one in MUTANTS).items() if count > 1] == []


def test_faults_that_survive_are_a_tenth_at_most():
    assert sum(bool(one.survives) for one in MUTANTS) <= len(MUTANTS) / 10


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda one: one.name)
def test_what_a_fault_replaces_stands_once_in_its_file(mutant):
    text = mutant.path(ROOT).read_text(encoding="utf-8")
    assert text.count(mutant.old) == 1
    ast.parse(text.replace(mutant.old, mutant.new))


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda one: one.name)
def test_a_fault_changes_something_says_what_it_harms_and_names_tests_that_are_there(mutant):
    assert mutant.new != mutant.old
    assert mutant.harm.endswith(".")
    for test in mutant.tests:
        file, _, name = test.partition("::")
        assert (ROOT / "tests" / file).exists()
        assert not name or name in names_in(ROOT / "tests" / file)
