"""The calendar of season.html: bars stand where the plan works, grey stands where nothing may be worked."""

from dataclasses import replace
from itertools import pairwise

import pandas as pd
import pytest

from builders.farm_run import CLOSED, FLAT, RIGS, farm_run
from hardpan.outputs.farm import season_table, tell_farm, zones_of_all
from hardpan.outputs.palette import SHUT, SOILS
from hardpan.outputs.season_page import draw_calendar, write_season_page
from hardpan.outputs.settings import OutputSettings

COLOURS = dict(zip(RIGS, SOILS, strict=False))


def bars(figure, colour):
    """Left, right and row of each bar of a colour."""
    wanted = tuple(int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    boxes = [
        path.get_extents()
        for drawn in figure.axes[0].collections
        if tuple(drawn.get_facecolor()[0][:3]) == pytest.approx(wanted)
        for path in drawn.get_paths()
    ]
    return sorted((int((box.y0 + box.y1) / 2), box.x0, box.x1) for box in boxes)


@pytest.fixture(scope="module")
def run():
    return farm_run()


@pytest.fixture(scope="module")
def season(run):
    return run.season


@pytest.fixture(scope="module")
def drawn(season):
    return draw_calendar(season, {slug: f"The {slug} paddock" for slug in CLOSED}, COLOURS)


def test_each_paddock_that_is_ripped_has_a_row_in_the_order_they_are_begun(season, drawn):
    rows = [label.get_text() for label in drawn.axes[0].get_yticklabels()]
    begun = season.plan.work.drop_duplicates("paddock").sort_values("day", kind="stable")["paddock"]
    assert sorted(rows) == ["The bore paddock", "The hill paddock", "The shed paddock"]
    assert season.plan.jobs.set_index("paddock").loc[begun, "first_day"].is_monotonic_increasing
    assert rows[0] == f"The {begun.iloc[0]} paddock"


def test_bars_are_as_long_as_the_work_and_none_of_a_machine_overlap(season, drawn):
    work = season.plan.work
    for rig, colour in COLOURS.items():
        its, here = work[work["rig"] == rig], bars(drawn, colour)
        day_h = (its["hours"] + its["move_h"]).groupby(its["day"]).sum().max()
        assert sum(right - left for _, left, right in here) == pytest.approx(its["hours"].sum() / day_h)
        along = sorted((left, right) for _, left, right in here)
        assert all(right <= left + 1e-9 for (_, right), (left, _) in pairwise(along))


def test_no_bar_stands_on_a_day_that_is_grey_for_its_paddock(drawn):
    grey = bars(drawn, SHUT)
    assert sum(right - left for _, left, right in grey) == 7
    for colour in COLOURS.values():
        for row, left, right in bars(drawn, colour):
            assert all(right <= begin + 1e-9 or left >= end - 1e-9 for one, begin, end in grey if one == row)


def test_the_season_is_answered_first_where_and_what_returns_then_what_is_left_and_why(run):
    begin, *left, counted = tell_farm(run)
    first = run.season.plan.work.drop_duplicates("rig").iloc[0]
    assert begin.startswith(f"Begin 26 Apr in The {first['paddock']} paddock ({first['rig']})")
    assert begin.endswith(
        "3 of 5 paddocks are ripped: 75.0 ha in 42.0 h, expected to return 3,000 AUD (likely range -500 to 6,000)."
    )
    assert left == [
        "The flat paddock is left: ripping costs more than it returns.",
        "The creek paddock is left: too few days on which it is fit and allowed.",
    ]
    assert counted.startswith(
        "5 paddocks: 5 worked out; in all 100.0 ha to rip in 56.0 h by the machines they were worked out with, "
        "expected to return 4,000 AUD"
    )


def test_a_machine_without_work_and_more_paddocks_than_are_named_are_told(run):
    idle = replace(run, season=replace(run.season, idle=("contractor",)))
    assert "No paddock for contractor." in tell_farm(idle)
    jobs = run.season.plan.jobs
    none = replace(run.season.plan, work=run.season.plan.work.iloc[:0], jobs=jobs.assign(fate="dropped", first_day=-1))
    left = replace(run, season=replace(run.season, plan=none))
    told = tell_farm(left)
    assert told[0] == "No paddock is ripped on these days."
    assert "The bore paddock, The hill paddock, The shed paddock and 1 more are left: other paddocks" in " ".join(told)
    assert season_table(left, left.season)["paddock"].tolist() == [*CLOSED, FLAT]


def test_the_hours_of_a_paddocks_days_add_up_to_its_own_as_they_are_printed(run):
    thirds = replace(run.season.plan, work=run.season.plan.work.assign(hours=14.0 / 3.0).groupby("paddock").head(1))
    work = pd.concat([thirds.work] * 3)
    found = season_table(run, replace(run.season, plan=replace(thirds, work=work)))
    sums = found.assign(hours=found["hours"].map("{:.2f}".format).astype(float)).groupby("paddock")["hours"].sum()
    assert sums[["bore", "hill", "shed"]].tolist() == pytest.approx([14.0] * 3, abs=1e-9)


def test_what_an_hour_of_the_machine_that_comes_returns_is_told(run):
    plan = replace(run.season.plan, jobs=run.season.plan.jobs.assign(net=700.0))
    found = season_table(run, replace(run.season, plan=plan))
    assert set(found.loc[found["machine"] != "", "why"]) == {"returns 50 AUD an hour"}


def test_the_page_names_what_the_map_numbers_and_stands_in_its_readers_units(tmp_path):
    run = farm_run(OutputSettings(units="us").model_dump())
    write_season_page(tmp_path / "season.html", run, zones_of_all(run))
    page = (tmp_path / "season.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")
    for number, slug in enumerate(run.fates, start=1):
        assert f"<li>{number} The {slug} paddock</li>" in page
        assert f'<th scope="row">{number} The {slug} paddock</th>' in page
    for told in ("185.3 ac in 42.0 h", "15.7 in", "To rip, ac", "Fuel, gal", "(likely range −500 to 6,000)"):
        assert told in page
    mixed = replace(run, results={**run.results, "bore": farm_run().results["bore"]})
    assert "75.0 ha" in tell_farm(mixed)[0]
