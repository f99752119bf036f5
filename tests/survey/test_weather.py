"""Tables of daily weather: what is read, and what is refused in one line."""

import numpy as np
import pytest

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.survey.inputs.weather import read_weather
from hardpan.survey.notes import Log


def read(tmp_path, text, log=None):
    path = tmp_path / "daily.csv"
    path.write_text(text, encoding="utf-8")
    return read_weather(path, log or Log())


def test_days_left_out_are_there_without_values(tmp_path):
    read_table = read(tmp_path, "date,rain_mm,et0_mm\n2026-01-01,0,5\n2026-01-02,3.5,4\n2026-01-05,,4\n").table
    assert len(read_table) == 5
    np.testing.assert_array_equal(read_table["rain_mm"], [0.0, 3.5, np.nan, np.nan, np.nan])
    np.testing.assert_array_equal(read_table["et0_mm"], [5.0, 4.0, np.nan, np.nan, 4.0])


def test_inches_and_fahrenheit_are_brought_to_millimetres_and_celsius(tmp_path):
    table = read(tmp_path, "Date;Rainfall (in);Tmin (F);Tmax_F\n2026-01-01;1,2;50,0;68\n2026-01-02;0;50,5;77,7\n").table
    assert table["rain_mm"].iloc[0] == pytest.approx(30.48)
    assert table[["low_c", "high_c"]].iloc[0].tolist() == pytest.approx([10.0, 20.0])


def test_units_may_be_written_out(tmp_path):
    header = "Date,Rainfall amount (millimetres),Minimum temperature (Degree C),Maximum temperature (Fahrenheit)"
    table = read(tmp_path, f"{header}\n2026-01-01,2.5,10,68\n").table
    assert table[["rain_mm", "low_c", "high_c"]].iloc[0].tolist() == pytest.approx([2.5, 10, 20])


def test_a_cell_that_is_no_number_is_missing_and_said(tmp_path):
    log = Log()
    table = read(tmp_path, "date,rain_mm\n2026-01-01,tr.\n2026-01-02,1.5\n", log).table
    assert np.isnan(table["rain_mm"].iloc[0])
    assert [issue.code for issue in log.issues] == ["no-number"]


YEAR = [f"2026-{month:02d}-{day:02d}" for month in range(1, 13) for day in range(1, 29)]
INCHES = "date,rain_mm,et0_mm\n" + "".join(f"{day},{0.3 if at % 9 == 0 else 0},0.21\n" for at, day in enumerate(YEAR))

TOTAL = "date,rain_mm\n" + "".join(f"2026-01-{at + 1:02d},{5 * (at // 2)}\n" for at in range(23))


def test_a_header_that_stands_twice_is_no_day(tmp_path):
    log = Log()
    table = read(tmp_path, "date,rain_mm\ndate,rain_mm\n2026-01-01,2\n2026-01-02,1.5\n", log).table
    assert table["rain_mm"].tolist() == [2, 1.5]
    assert [issue.place for issue in log.issues] == ["row 2"]


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("date,rain_mm\n2026-01-01,-3.5\n", InputError, r"daily.csv, row 2: rain_mm = -3.5; expected 0 to 2000"),
        (
            "date,rain_in,Minimum temperature (degree F)\n2026-01-01,100,50\n",
            InputError,
            "row 2: rain_in = 100; expected 0 to 78.74; check the unit",
        ),
        ("date,rain_mm,Tmin_c\n2026-01-01,1,70\n", InputError, "row 2: Tmin_c = 70; expected -60 to 60; check"),
        ("date,rain_mm\n2026-01-02,0\n2026-01-01,1\n", InputError, "row 3: 2026-01-01 comes after 2026-01-02"),
        ("date,rain_mm\n2026-01-02,0\n2026-01-02,1\n", InputError, "row 3: 2026-01-02 comes twice"),
        ("date,rain_mm,tmin_c,tmax_c\n2026-01-02,0,30,12\n", InputError, "row 2: the lowest temperature, 30, is above"),
        (
            "date,rain_mm\n2026-01-02,0\n9999-01-03,1\n",
            InputError,
            "row 3: 9999-01-03 comes after 2026-01-02, more than",
        ),
        (
            "date,rain_mm\n0026-01-02,0\n2026-01-03,1\n",
            InputError,
            "row 3: 2026-01-03 comes after 0026-01-02, more than",
        ),
        ("day,et0_mm\n2026-01-02,0\n", InputError, "has no column of rain_mm; expected date, rain_mm, et0_mm"),
        ("rain_mm,et0_mm\n0,0\n", InputError, "has no column of date"),
        ("date,rain_mm\n01/02/2026,0\n02/03/2026,1\n", InputError, "can be read in two orders"),
        ("date,rain\n2026-01-02,0\n", AmbiguousInputError, "column rain states no unit; call it rain_mm or rain_in"),
        (INCHES, AmbiguousInputError, "et0_mm is 0.21 on average a day: are these inches?"),
        (TOTAL, AmbiguousInputError, "rain_mm never falls from one day to the next, up to 55: is it a running total"),
        (
            "date,rain_mm,rh_pct\n2026-01-02,0,0.65\n",
            AmbiguousInputError,
            "humidity_pct is at most 0.65: is it a share",
        ),
        ("date,rain_mm\n", InputError, "has a header but no days"),
        ("", InputError, "empty"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(tmp_path, text, kind, words):
    with pytest.raises(kind, match=words) as told:
        read(tmp_path, text)
    assert "\n" not in str(told.value)
