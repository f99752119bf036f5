"""No cell acts as a formula, no number changes its look, the same table gives the same bytes."""

import csv

import numpy as np
import pandas as pd
import pytest

from hardpan.outputs.tables import cell, write_table


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\n=1"])
def test_text_that_a_spreadsheet_would_run_is_quoted(text):
    assert cell(text, 2) == "'" + text


@pytest.mark.parametrize("text", ["Zone 1", "1 = one", "שדה", 'a,b"c'])
def test_other_text_is_left_as_it_is(text):
    assert cell(text, 2) == text


@pytest.mark.parametrize(
    ("value", "decimals", "written"),
    [(1.005, 1, "1.0"), (-0.001, 2, "0.00"), (-5.25, 2, "-5.25"), (np.nan, 2, ""), (None, 2, ""), (True, 0, "yes"),
     (np.int64(7), 2, "7"), (np.inf, 2, "inf")],
)  # fmt: skip
def test_numbers_have_fixed_decimals_and_absence_is_empty(value, decimals, written):
    assert cell(value, decimals) == written


def test_a_table_reads_back_as_it_was(tmp_path):
    table = pd.DataFrame({"zone": [1, 2], "what": ['say "a", b', "line\nbreak"], "area_ha": [1.23456, np.nan]})
    write_table(tmp_path / "t.csv", table)
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    assert rows == [["zone", "what", "area_ha"], ["1", 'say "a", b', "1.2346"], ["2", "line\nbreak", ""]]
    assert b"\r" not in (tmp_path / "t.csv").read_bytes()


@pytest.mark.parametrize("text", ["a\rb", "a\r\nb", "a\nb"])
def test_every_line_break_is_one_that_gets_quoted(text):
    assert cell(text, 2) == "a\nb"
