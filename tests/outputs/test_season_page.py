"""The calendar of season.html: bars stand where the plan works, grey stands where nothing may be worked."""

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from hardpan.outputs.palette import SHUT, SOILS
from hardpan.outputs.season_page import draw_calendar
from hardpan.records.past import FarmSeason
from hardpan.records.season import Job, Rig
from hardpan.season.planning import plan_season

DAYS = [date(2027, 4, 26) + timedelta(days=number) for number in range(12)]
COLOURS = {"one": SOILS[0], "two": SOILS[1]}
CLOSED = {"bore": (0, 1, 5), "hill": (3, 4, 5, 11), "shed": (), "creek": range(12)}


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
def season():
    jobs = [
        Job(
            paddock=slug, hours=dict.fromkeys(COLOURS, 14.0), net=dict.fromkeys(COLOURS, 1_000.0), x_m=5_000.0 * place,
            fit=~np.isin(np.arange(12), shut),
        )
        for place, (slug, shut) in enumerate(CLOSED.items())
    ]  # fmt: skip
    rigs = [Rig(name=name, hours=np.full(12, 10.0), fold_h=0.5) for name in COLOURS]
    return FarmSeason(
        plan=plan_season(jobs, rigs, DAYS), stress=None, open_days={job.paddock: job.open_days for job in jobs}
    )


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
