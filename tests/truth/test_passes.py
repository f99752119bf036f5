"""A small part of the study of simulated passes; `python -m truth.passes` gives the whole table."""

import pytest

from hardpan.records.after import Judged
from truth import passes

pytestmark = pytest.mark.slow


def test_few_verdicts_are_wrong_and_ridges_are_found():
    found = passes.table(passes.study(range(300, 310)))
    assert found["wrong"].mean() <= 0.05
    assert found.loc["ridges", "right_share"] >= 0.9


def test_the_line_alone_never_shows_a_broken_pan():
    assert Judged.BROKEN not in passes.line_only(range(300, 303))
