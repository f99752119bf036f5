"""Cells to numbers: what each spelling means, and what is never guessed."""

import numpy as np
import pytest

from hardpan.core.errors import AmbiguousInputError
from hardpan.survey.columns import Text
from hardpan.survey.numbers import convert, decimal_mark


def value(cell, mark="."):
    return float(convert(Text.of([cell]), mark).value[0])


@pytest.mark.parametrize(
    ("cell", "mark", "number"),
    [
        ("1234", ".", 1234),
        ("1,234", ".", 1234),
        ("1 234", ".", 1234),
        ("1\u00a0234", ".", 1234),
        ("1'234", ".", 1234),
        ("1,234.5", ".", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("1.234", ",", 1234),
        ("2,1", ",", 2.1),
        ("0,48", ",", 0.48),
        ("-3.5", ".", -3.5),
        ("−3.5", ".", -3.5),
        ("+7", ".", 7),
        (".5", ".", 0.5),
        ("1e3", ".", 1000),
        ("1.5E+02", ".", 150),
        ("'480", ".", 480),
        ("~480", ".", 480),
        ("480 kPa", ".", 480),
        ("5 cm", ".", 5),
        ('12"', ".", 12),
        (">5000", ".", 5000),
    ],
)
def test_spellings_of_one_number(cell, mark, number):
    assert value(cell, mark) == pytest.approx(number)


@pytest.mark.parametrize("cell", ["", " ", "NA", "n/a", "NaN", "-", "--", "null", ".", "?"])
def test_blank_cells_are_missing_and_not_unreadable(cell):
    found = convert(Text.of([cell.strip()]), ".")
    assert np.isnan(found.value[0])
    assert not found.unreadable[0]


@pytest.mark.parametrize(
    "cell",
    ["#DIV/0!", "#N/A", "abc", "1 2", "1,23", "12,34,567", "1.2.3", "1_000", "inf", "Infinity", "1e999", "0x10"],
)
def test_what_is_no_number_is_unreadable(cell):
    found = convert(Text.of([cell]), ".")
    assert np.isnan(found.value[0])
    assert found.unreadable[0]


def test_marks_of_doubt_and_units_are_kept_apart():
    found = convert(Text.of(["~480", ">5000", "7 MPa", "7"]), ".")
    assert found.rough.tolist() == [True, False, False, False]
    assert found.at_least.tolist() == [False, True, False, False]
    assert found.units.tolist() == ["", "", "mpa", ""]


@pytest.mark.parametrize(
    ("cells", "mark"),
    [
        (["1,5", "2,25"], ","),
        (["1.5", "2.25"], "."),
        (["1,234", "-28.0248"], "."),
        (["1.234", "28,0248"], ","),
        (["1,234,567"], "."),
        (["0,480"], ","),
        (["1.234,5"], ","),
        (["480", "2100"], "."),
        (["0.480", "1.250"], "."),
        (["1 234", "5"], "."),
    ],
)
def test_the_decimal_mark_follows_from_the_cells(cells, mark):
    assert decimal_mark([Text.of(cells)], "auto", where="a.csv") == mark


@pytest.mark.parametrize("cells", [["1,250", "480"], ["1,5", "1.5"], ["1.250", "480", "2.100"]])
def test_cells_that_can_be_read_both_ways_are_asked_for(cells):
    with pytest.raises(AmbiguousInputError, match=r"probes\.decimal"):
        decimal_mark([Text.of(cells)], "auto", where="a.csv")


def test_the_settings_decide_the_mark():
    assert decimal_mark([Text.of(["1,250"])], ",", where="a.csv") == ","
