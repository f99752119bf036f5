"""The days of a season over a list of paddocks."""

from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from hardpan.core.errors import HardpanError
from hardpan.outputs.words.english.farm import season_says
from hardpan.outputs.words.units import Units
from hardpan.records.ledger import NET_RETURN, Total, Totals
from hardpan.records.past import PaddockResult
from hardpan.records.season import Fate
from hardpan.records.weather import FitDays
from hardpan.run.farm_season import SeasonPlanSettings, Wishes, check_plan, plan_farm_season

FIRST, LAST = date(2027, 3, 1), date(2027, 3, 4)


def result(name, net, hours, soil="deep sand", fit=None):
    zones = gpd.GeoDataFrame(
        {
            "zone": [1], "soil_type": [soil], "depth_mm": [400.0], "hours": [hours], "width_m": [4.0],
            "speed_kmh": [6.0],
        },
        geometry=[shapely.box(0, 0, 100, 100)], crs=32751,
    )  # fmt: skip
    draws = np.array([-500.0, 0.0, 500.0])
    total = Total(
        quantity=10.0, unit="ha", amount=net, low=net - 500.0, high=net + 500.0, shared=net + draws, own=0 * draws
    )
    return PaddockResult(
        name=name, zones=zones, ripped_ha=10.0, net=net, hours=hours, litres=1.0, plan_number="",
        totals=Totals(items={NET_RETURN: total}, currency="AUD", seed=1), outputs={}, fit=fit,
    )  # fmt: skip


def fit_days(days_by_year, dry_on=date(2001, 1, 15)):
    """Fit days of deep sand: those of the plan's first days that are marked 1, by year."""
    fit = np.zeros((len(days_by_year), 365, 1), dtype=bool)
    first = (FIRST - dry_on.replace(year=FIRST.year)).days
    for row, marks in zip(fit, days_by_year, strict=True):
        row[first : first + len(marks), 0] = [mark == "1" for mark in marks]
    years = tuple(range(2001, 2001 + len(days_by_year)))
    return FitDays(years=years, first=dry_on, soil_types=("deep sand",), depth_mm=(400.0,), fit=fit)


def planned(results, wishes=None, **given):
    asked = {"first": FIRST, "last": LAST, "hours_per_day": 10.0, "fold_h": 0.0, **given}
    wishes = {name: (wishes or {}).get(name, Wishes()) for name in results}
    return plan_farm_season(results, wishes, SeasonPlanSettings(**asked))


def fates(season):
    return dict(season.plan.jobs[["paddock", "fate"]].itertuples(index=False))


def fit_table(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


TWO = {"rich": result("rich", 5000.0, 20.0), "poor": result("poor", 100.0, 30.0)}


def test_the_days_go_to_what_makes_most_of_them_and_the_rest_is_left():
    season = planned(TWO)
    assert fates(season) == {"rich": Fate.DONE, "poor": Fate.DROPPED}
    assert season.plan.work["hours"].sum() == pytest.approx(20.0)
    assert season.plan.work.groupby("day")["hours"].sum().max() <= 10.0
    assert season.unknown == ("rich", "poor")


def test_what_must_be_ripped_is_and_nothing_outside_its_dates():
    season = planned(TWO, {"poor": Wishes(must=True)})
    assert fates(season)["poor"] == Fate.DONE
    late = planned(TWO, {"rich": Wishes(not_before=date(2027, 3, 3))})
    assert late.plan.work.set_index("paddock").loc[["rich"], "day"].min() == 2


def test_there_is_no_plan_where_nothing_is_ripped():
    assert planned({"left": result("left", 0.0, 0.0)}) is None


def test_a_second_rig_rips_the_second_paddock():
    assert set(fates(planned(TWO, rigs=2)).values()) == {Fate.DONE}


def test_nothing_is_ripped_on_days_that_are_not_fit_for_its_soil(tmp_path):
    rows = ["date,deep sand", "2027-03-01,no", "2027-03-02,yes", "2027-03-03,no", "2027-03-04,yes"]
    season = planned(TWO, fit=fit_table(tmp_path / "fit.csv", "\n".join(rows)))
    assert set(season.plan.work["day"]) == {1, 3}


def test_fit_days_may_be_parted_by_semicolons(tmp_path):
    rows = ["date;deep sand", "2027-03-01;no", "2027-03-02;yes", "2027-03-03;no", "2027-03-04;yes"]
    season = planned(TWO, fit=fit_table(tmp_path / "fit.csv", "\n".join(rows)))
    assert set(season.plan.work["day"]) == {1, 3}


def test_fit_days_in_another_encoding_are_one_line(tmp_path):
    (tmp_path / "fit.csv").write_bytes("date,Süd\n2027-03-01,yes\n".encode("latin-1"))
    with pytest.raises(HardpanError, match=r"fit\.csv: is not UTF-8: .*expected a table of fit days in UTF-8"):
        planned(TWO, fit=tmp_path / "fit.csv")


def test_other_years_say_how_often_a_paddock_is_finished(tmp_path):
    rows = ["date,fit"]
    for year, fit in ((2021, "yes"), (2022, "no"), (2023, "yes"), (2024, "yes")):
        rows += [f"{year}-03-0{day},{fit}" for day in range(1, 5)]
    season = planned({"rich": TWO["rich"]}, fit=fit_table(tmp_path / "fit.csv", "\n".join(rows)))
    assert season.stress is not None
    assert season.stress.jobs.set_index("paddock")["done_share"]["rich"] == pytest.approx(0.75)
    assert fates(season) == {"rich": Fate.DONE}


def test_the_weather_of_a_paddock_says_when_it_is_fit_and_how_often_it_is_finished():
    weather = fit_days(["1111", "0110", "1000", "0111", "1110"])
    season = planned({"rich": result("rich", 5000.0, 20.0, fit=weather)})
    assert season.unknown == ()
    assert season.planned_with == 2005  # three days, as half of the years have or surpass
    assert set(season.plan.work["day"]) <= {0, 1, 2}
    assert season.stress.jobs.set_index("paddock")["done_share"]["rich"] == pytest.approx(0.8)  # not in one day
    sure = planned({"rich": result("rich", 5000.0, 20.0, fit=weather)}, sure=0.8)
    assert (sure.planned_with, sorted(sure.plan.work["day"])) == (2002, [1, 2])


def test_a_paddock_without_weather_beside_one_with_it_is_told():
    season = planned({"dug": TWO["poor"], "rich": result("rich", 5000.0, 20.0, fit=fit_days(["0110"] * 5))})
    assert season.unknown == ("dug",)
    assert set(season.plan.work.set_index("paddock").loc[["rich"], "day"]) == {1, 2}


def test_machines_differ_in_width_speed_depth_cost_and_the_days_they_are_there():
    wide = {"name": "wide", "width_m": 8.0, "speed_kmh": 6.0, "dearer_per_ha": 20.0}
    shallow = {"name": "shallow", "deepest_mm": 350.0}
    season = planned({"rich": TWO["rich"]}, machines=(shallow, wide))
    assert season.plan.jobs[["rig", "hours", "net"]].to_numpy().tolist() == [["wide", 10.0, 5000.0 - 20.0 * 10.0]]
    late = planned({"rich": TWO["rich"]}, machines=(wide | {"not_before": date(2027, 3, 3), "hours_per_day": 5.0},))
    assert sorted(late.plan.work["day"]) == [2, 3]
    with pytest.raises(HardpanError, match="the name 'wide' is taken"):
        check_plan(SeasonPlanSettings(first=FIRST, last=LAST, machines=(wide, wide)), {})


def test_what_waiting_takes_off_the_worth_of_the_plan_is_told():
    names, units = {slug: f"{slug} paddock" for slug in TWO}, Units.of_files("AUD")
    season = planned(TWO)
    assert season_says(season, names, units)[0].startswith(f"The plan is worth {season.plan.worth:,.0f} AUD, within ")
    waits = planned(TWO, {"rich": Wishes(waiting_per_day=30.0)})
    waiting = waits.plan.jobs["waiting"].sum()
    assert waiting > 1.0
    told = f"The plan is worth {waits.plan.worth:,.0f} AUD, {waiting:,.0f} AUD for waiting taken off, within "
    assert season_says(waits, names, units)[0].startswith(told)


def test_the_return_of_what_is_ripped_has_the_range_of_those_paddocks_less_what_their_machines_cost_more():
    own = {"name": "own", "not_after": FIRST}
    season = planned({"rich": TWO["rich"]}, machines=(own, {"name": "hired", "dearer_per_ha": 20.0}))
    net = TWO["rich"].net - 200.0
    assert season.returns == pytest.approx((net, net - 450.0, net + 450.0))
    assert season.idle == ("own",)
    none = planned({"rich": TWO["rich"]}, machines=(own | {"deepest_mm": 1.0},))
    assert np.isnan(none.returns).all()
    assert none.idle == ("own",)


LATE, BACKWARDS = {"not_before": date(2027, 6, 1)}, {"not_before": date(2027, 3, 3), "not_after": date(2027, 3, 2)}


@pytest.mark.parametrize(
    ("machine", "wish", "told"),
    [
        ({}, BACKWARDS, r"list, paddock 1: not_before = 2027-03-03 is after not_after = 2027-03-02"),
        (BACKWARDS, {}, r"machines\]\] \"own\": not_before = 2027-03-03 is after not_after"),
        ({}, LATE | {"must": True}, r"list, paddock 1: must be ripped, but may not on any day of the plan"),
    ],
)
def test_days_on_which_nothing_is_allowed_are_refused_before_any_paddock_is_worked_out(machine, wish, told):
    plan = SeasonPlanSettings(first=FIRST, last=LAST, machines=({"name": "own"} | machine,))
    with pytest.raises(HardpanError, match=told):
        check_plan(plan, {"list, paddock 1": Wishes(**wish)})
    check_plan(plan.model_copy(update={"machines": ()}), {"list, paddock 1": Wishes(**LATE)})


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("day,fit\n", "has no column date"),
        ("date,fit\n1 March,yes\n", "line 2: is no date"),
        ("date,fit\n2027-03-01,perhaps\n", "line 2: fit is 'perhaps'; expected yes or no"),
        ("date,fit\n2027-03-01,yes\n2027-03-01,no\n", "line 3: 2027-03-01 comes twice"),
        ("date,clay\n" + "".join(f"2027-03-0{day},yes\n" for day in range(1, 5)), "has no column 'deep sand'"),
    ],
)
def test_a_table_of_fit_days_that_is_none_is_one_line(tmp_path, text, told):
    with pytest.raises(HardpanError) as said:
        planned(TWO, fit=fit_table(tmp_path / "fit.csv", text))
    assert told in str(said.value)
    assert len(str(said.value).splitlines()) == 1


def test_a_season_that_ends_before_it_begins_is_one_line():
    with pytest.raises(HardpanError, match="are 0 days"):
        planned(TWO, last=date(2027, 2, 1))
