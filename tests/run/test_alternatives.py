"""Other machines beside the present one: on a small paddock, through the command, and errors a user can cause."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from hardpan.cli import app
from small_paddock import Small

PAYS = {"prices": "grain_per_t = 600"}

GIVEN = """
[[alternatives]]
name = "the same again"
tractor = "tracked-370kw"
ripper = "seven-tine-600"

[[alternatives]]
name = "offer"
rate_per_ha = 60
fuel = 0.5
waiting = 2
ha_per_h = 3

[[alternatives]]
name = "shallow offer"
rate_per_ha = 60
fuel = 0.5
deepest = "35 cm"

[[alternatives]]
name = "small"
tractor = "front-assist-220kw"

[[alternatives]]
name = "ballast"
tractor = { like = "tracked-370kw", mass = "27 t" }
terms = "upgraded"
price = 8000

[[alternatives]]
name = "hired"
ripper = "seven-tine-600"
terms = "hired"
hire_per_h = 0
"""


def written(folder: Path, text: str, tables=PAYS) -> Path:
    path = Small(tables=tables).write(folder)
    path.write_text(f"{path.read_text()}\n{text}")
    return path


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("machines")
    result = CliRunner().invoke(app, ["machines", str(written(folder, GIVEN)), "--out", str(folder / "out")])
    assert result.exit_code == 0, result.output
    return result.stdout, pd.read_csv(folder / "out" / "machines.csv").set_index("name")


def test_there_is_a_row_for_each_machine_and_offer(done):
    assert done[1].index.tolist() == [
        "present machine", "contractor of [prices]", "the same again", "offer", "shallow offer", "small", "ballast",
        "hired",
    ]  # fmt: skip


def test_the_same_machine_again_returns_the_same_in_every_draw(done):
    present, again = (done[1].loc[name] for name in ("present machine", "the same again"))
    assert again[["net", "net_low", "net_high", "cost", "hours"]].tolist() == pytest.approx(
        present[["net", "net_low", "net_high", "cost", "hours"]].tolist(), abs=0.02
    )
    assert again["beats_full"] == 0.0


def test_a_contractor_costs_his_rate_and_half_the_fuel(done):
    offer = done[1].loc["offer"]
    assert offer["cost"] > 60.0 * offer["ripped_ha"]
    assert offer["cost"] == offer["cash_cost"]
    assert offer["hours"] == pytest.approx(offer["ripped_ha"] / 3.0, abs=0.01)
    assert offer["days"] == pytest.approx(2.0 + offer["hours"] / 10.0, abs=0.01)


def test_an_offer_goes_no_deeper_than_it_says(done):
    depths = {name: [int(one) for one in re.findall(r"\d+", str(done[1].loc[name, "depths_mm"]))] for name in
              ("offer", "shallow offer")}  # fmt: skip
    assert max(depths["shallow offer"]) <= 350 < max(depths["offer"])


def test_hiring_for_nothing_saves_what_ripper_costs_to_own_and_repair(done):
    table = done[1]
    assert table.loc["hired", "cost"] < table.loc["present machine", "cost"]
    assert np.isnan(table.loc["hired", "break_even_ha"])


def test_an_upgrade_has_only_its_own_price_to_earn(done):
    table = done[1]
    assert table.loc["ballast", "owned_per_year"] < 0.1 * 8000 + 200
    assert table.loc["ballast", "against"] == "present machine"
    assert table.loc["ballast", "slip"] <= table.loc["present machine", "slip"]


def test_a_tractor_too_light_for_its_power_is_held_by_its_weight(done):
    assert done[1].loc["small", "held_by"] == "weight"
    assert "light for its power" in done[0]


def test_the_screen_prints_the_figures_of_the_file(done):
    text, table = done
    row = next(line for line in text.splitlines() if line.startswith("offer"))
    assert f"{table.loc['offer', 'cost']:,.0f}" in row
    assert "Of all compared, offer returns most here: " in text


def test_fit_days_hold_back_who_comes_too_late(tmp_path):
    tables = PAYS | {"season": "fit_days = 1"}
    path = written(tmp_path, '[[alternatives]]\nname = "late"\nrate_per_ha = 60\nwaiting = 2\n', tables)
    result = CliRunner().invoke(app, ["machines", str(path), "--out", str(tmp_path / "out")])
    late = pd.read_csv(tmp_path / "out" / "machines.csv").set_index("name").loc["late"]
    assert (result.exit_code, late["held_by"], late["in_time"]) == (0, "fit days", 0.0)


def weather(folder: Path, rains: tuple[bool, ...]) -> None:
    """Years from 2021 on; where it rains, 60 mm fall on 2 January. The last day is 9 January after them."""
    days = pd.date_range("2021-01-01", f"{2021 + len(rains)}-01-09")
    wet = [(day.month, day.day) == (1, 2) and (*rains, False)[day.year - 2021] for day in days]
    table = pd.DataFrame({"date": days.strftime("%Y-%m-%d"), "rain_mm": np.where(wet, 60.0, 0.0), "et0_mm": 5.0})
    table.to_csv(folder / "daily.csv", index=False)


def test_without_a_number_of_fit_days_those_of_the_years_of_weather_count(tmp_path):
    season = 'weather = "daily.csv"\ndry_on = 2027-01-01\nmoist_depth_mm = 700\nfinish_by = 2027-01-31'
    offer = '[[alternatives]]\nname = "offer"\nrate_per_ha = 60\nha_per_h = 3\n'
    path = written(tmp_path, offer, PAYS | {"season": season})
    shares = []
    for rains in ((True,) * 6, (True, True, False, True, True, True)):
        weather(tmp_path, rains)
        result = CliRunner().invoke(app, ["machines", str(path), "--out", str(tmp_path / "out")])
        assert result.exit_code == 0, result.output
        shares.append(pd.read_csv(tmp_path / "out" / "machines.csv").set_index("name")["in_time"].to_dict())
    assert shares[0] == {"present machine": 1.0, "contractor of [prices]": 1.0, "offer": 1.0}
    assert shares[1] == pytest.approx(dict.fromkeys(shares[0], 5 / 6), abs=0.005)  # one year of six never was fit


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[alternatives]]\nname = "a"\nsetup = "plain"\n[[alternatives]]\nname = "a"\nrate_per_ha = 3', "is taken"),
        ('[[alternatives]]\nname = "a"\nripper = "seven-tine-600"\nrate_per_ha = 3', "are both given"),
        ('[[alternatives]]\nname = "a"\nripper = { min_depth = "200 mm" }', "'tines', 'spacing'"),
        ('[[alternatives]]\nname = "a"', "neither a machine nor an offer"),
        ('[[alternatives]]\nname = "a"\nsetup = "plain"\nterms = "upgraded"', "price is missing"),
        ('[[alternatives]]\nname = "a"\nsetup = "plain"\nhire_per_h = 3', "terms = 'hired'"),
        ('[[alternatives]]\nname = "a"\nrate_per_ha = -3', "a rate below 0"),
        ('[[alternatives]]\nname = "a"\nrate_per_ha = 60\ndeepest = 0', "is no depth"),
        (
            '[[alternatives]]\nname = "a"\nrate_per_ha = 60\ndeepest = 55',
            "deepest = 55 mm is no depth to rip to; expected",
        ),
        ('[[alternatives]]\nname = "a"\nsetup = "plain"\ndeepest = 500', "belong to a contractor's offer"),
        ('[[alternatives]]\nname = "a"\nrate_per_ha = "30 USD/ac"', "money is in AUD"),
        ('[[alternatives]]\nname = "a"\ntractor = "front-asist-220kw"', "did you mean 'front-assist-220kw'?"),
        ("", "nothing to compare"),
    ],
)
def test_what_cannot_be_compared_is_one_plain_line_and_writes_nothing(tmp_path, text, said):
    result = CliRunner().invoke(app, ["machines", str(written(tmp_path, text)), "--out", str(tmp_path / "out")])
    assert result.exit_code == 2
    assert said in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_all_that_is_wrong_is_told_in_one_pass_and_what_killed_runs_left_is_cleared(tmp_path, monkeypatch):
    cleared = []
    monkeypatch.setattr("hardpan.outputs.folder.clear_leftovers", lambda *folders: cleared.extend(folders))
    path = written(tmp_path, "[zones]\nshape = 1\n")
    (tmp_path / "probes.csv").unlink()
    result = CliRunner().invoke(app, ["machines", str(path), "--out", str(tmp_path / "tables" / "out")])
    assert result.exit_code == 2
    assert "shape" in result.stderr
    assert "probes.csv" in result.stderr
    assert {tmp_path, tmp_path / "tables"} <= set(cleared)
