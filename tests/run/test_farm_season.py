"""The days of a season over a list of paddocks."""

from datetime import date
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from hardpan.core.errors import HardpanError
from hardpan.records.across import PaddockResult
from hardpan.records.season import Fate
from hardpan.records.totals import Totals
from hardpan.run.farm_season import SeasonPlanSettings, Wishes, plan_farm_season

FIRST, LAST = date(2027, 3, 1), date(2027, 3, 4)


def result(name, net, hours, soil="deep sand"):
    zones = gpd.GeoDataFrame(
        {"zone": [1], "soil_type": [soil], "depth_mm": [400.0]}, geometry=[shapely.box(0, 0, 100, 100)], crs=32751
    )
    return PaddockResult(
        name=name, zones=zones, ripped_ha=1.0, net=net, hours=hours, litres=1.0, plan_number="",
        totals=Totals(items={}, currency="AUD", seed=1),
    )  # fmt: skip


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
    assert not season.fit_known


def test_what_must_be_ripped_is_and_nothing_outside_its_dates():
    season = planned(TWO, {"poor": Wishes(must=True)})
    assert fates(season)["poor"] == Fate.DONE
    late = planned(TWO, {"rich": Wishes(not_before=date(2027, 3, 3))})
    assert late.plan.work.set_index("paddock").loc[["rich"], "day"].min() == 2


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
