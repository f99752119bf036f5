"""As-applied logs, as time logs and as point tables of many hands, read to one table."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from builders.machine_log import Record, TaskData, in_degrees, packed, passes, plan, time_log
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.applied import AppliedSettings
from hardpan.survey.stage import read_log

PASSES = passes(lines=range(4))


def read(path, **settings):
    return read_log(AppliedSettings(file=path, **settings), plan())


def table(folder, change=lambda cells: cells, **written):
    longitude, latitude = in_degrees(PASSES)
    cells = pd.DataFrame(
        {"Longitude": longitude.round(8), "Latitude": latitude.round(8), "Time (s)": PASSES["time_s"],
         "Depth (mm)": PASSES["depth_mm"], "Fuel (L)": PASSES["fuel_l"].round(4), "Width (m)": PASSES["width_m"]}
    )  # fmt: skip
    change(cells).to_csv(folder / "log.csv", index=False, **written)
    return folder / "log.csv"


def same(log, columns=("x_m", "y_m", "time_s", "depth_mm", "fuel_l", "width_m")):
    assert len(log.records) == len(PASSES)
    for name in columns:
        tolerance = {"fuel_l": 1e-3, "x_m": 0.02, "y_m": 0.02}.get(name, 1e-9)
        np.testing.assert_allclose(log.records[name], PASSES[name], atol=tolerance, err_msg=name)


def test_a_time_log_gives_the_pass_with_values_carried_forward(tmp_path):
    data = TaskData({"TLG00001": time_log(PASSES)})
    for path in (
        data.folder(tmp_path / "TASKDATA"),
        data.zipped(tmp_path / "log.zip"),
        tmp_path / "TASKDATA/TASKDATA.XML",
    ):
        log = read(path)
        same(log)
        np.testing.assert_array_equal(log.records["working"], PASSES["working"])
        assert log.issues == ()


def test_a_task_data_folder_is_found_in_the_folder_around_it(tmp_path):
    (tmp_path / "stick").mkdir()
    TaskData({"TLG00001": time_log(PASSES)}).folder(tmp_path / "stick" / "taskdata")
    same(read(tmp_path / "stick"))


def test_a_point_table_gives_the_same_pass(tmp_path):
    same(read(table(tmp_path)))


def test_a_layer_of_points_gives_the_same_pass_in_whatever_crs_it_is(tmp_path):
    cells = pd.read_csv(table(tmp_path))
    points = gpd.points_from_xy(cells["Longitude"], cells["Latitude"], crs=4326).to_crs(32650)
    layer = gpd.GeoDataFrame(cells.drop(columns=["Longitude", "Latitude"]), geometry=points)
    layer.to_file(tmp_path / "log.gpkg")
    same(read(tmp_path / "log.gpkg"))
    same(read(tmp_path / "log.gpkg", crs="EPSG:32650"))
    with pytest.raises(AmbiguousInputError, match=r"zone 50N but applied\.crs says WGS 84; take out applied\.crs"):
        read(tmp_path / "log.gpkg", crs="EPSG:4326")


def test_task_data_are_in_degrees_and_no_setting_says_otherwise(tmp_path):
    path = TaskData({"TLG00001": time_log(PASSES)}).folder(tmp_path / "taskdata")
    same(read(path, crs="EPSG:4326"))
    with pytest.raises(AmbiguousInputError, match=r"says WGS 84 but applied\.crs says .*zone 50S"):
        read(path, crs="EPSG:32750")


@pytest.mark.parametrize(
    ("names", "by"),
    [
        ({"Depth (mm)": ("Actual tillage depth [cm]", 0.1), "Fuel (L)": ("fuel_used_gal", 1 / 3.785411784)}, {}),
        ({"Depth (mm)": ("working depth in", 1 / 25.4), "Width (m)": ("Working width (ft)", 1 / 0.3048)}, {}),
        (
            {"Depth (mm)": ("Tiefe cm", 0.1), "Longitude": ("Länge", 1), "Latitude": ("Breite", 1)},
            {"sep": ";", "decimal": ","},
        ),
        ({"Depth (mm)": ("depth_mm", -1), "Time (s)": ("time (min)", 1 / 60)}, {}),
    ],
)
def test_units_stand_beside_the_names_of_columns(tmp_path, names, by):
    def change(cells):
        for name, (_, factor) in names.items():
            cells[name] = cells[name] * factor
        return cells.rename(columns={name: new for name, (new, _) in names.items()})

    log = read(table(tmp_path, change, **by))
    same(log)
    assert {issue.code for issue in log.issues} == ({"depth-sign"} if names["Depth (mm)"][1] < 0 else set())


def test_a_column_of_depth_can_be_named_and_its_unit_stated(tmp_path):
    path = table(tmp_path, lambda cells: cells.rename(columns={"Depth (mm)": "channel 7"}))
    with pytest.raises(InputError, match="no column of depth"):
        read(path)
    with pytest.raises(AmbiguousInputError, match="unit of depth"):
        read(path, depth_column="channel 7")
    same(read(path, depth_column="Channel 7", depth_unit="mm"))


def test_a_unit_that_is_stated_twice_has_to_agree(tmp_path):
    with pytest.raises(AmbiguousInputError, match=r"applied\.depth_unit"):
        read(table(tmp_path), depth_unit="cm")


def test_dates_and_times_of_day_become_seconds(tmp_path):
    def change(cells):
        stamps = pd.Timestamp("2027-05-08T23:59:00") + pd.to_timedelta(cells["Time (s)"], unit="s")
        return cells.assign(Timestamp=stamps.dt.strftime("%Y-%m-%d %H:%M:%S")).drop(columns="Time (s)")

    same(read(table(tmp_path, change)))


def test_fuel_is_summed_from_its_rate(tmp_path):
    log = read(table(tmp_path, lambda cells: cells.assign(**{"Fuel rate (L/h)": 20.0}).drop(columns="Fuel (L)")))
    assert log.records["fuel_l"].iloc[-1] == pytest.approx(PASSES["fuel_l"].iloc[-1])


def test_a_speed_without_a_unit_is_told_and_not_used(tmp_path):
    log = read(table(tmp_path, lambda cells: cells.assign(Speed=7.2)))
    assert [issue.code for issue in log.issues] == ["no-unit"]
    assert log.records["speed_kmh"].isna().all()


def test_nothing_is_carried_across_a_gap_but_width_and_fuel(tmp_path):
    def change(cells):
        after = np.arange(len(cells)) >= 100
        cells["Time (s)"] += np.where(after, 300.0, 0.0)
        cells.loc[
            (np.arange(len(cells)) >= 90) & (np.arange(len(cells)) < 110), ["Depth (mm)", "Width (m)", "Fuel (L)"]
        ] = ""
        return cells

    log = read(table(tmp_path, lambda cells: change(cells.astype(object)))).records
    assert log["stretch"].tolist() == [0] * 100 + [1] * (len(log) - 100)
    assert log["depth_mm"].isna().tolist()[88:112] == [False] * 12 + [True] * 10 + [False] * 2
    assert log[["width_m", "fuel_l"]].notna().all(axis=None)


def test_rows_out_of_the_order_of_time_are_sorted_and_that_is_told(tmp_path):
    log = read(table(tmp_path, lambda cells: cells.sample(frac=1.0, random_state=1)))
    same(log)
    assert "log-order" in {issue.code for issue in log.issues}


@pytest.mark.parametrize(("by", "code"), [(0.1, "depth-shallow"), (10.0, "")])
def test_depths_no_ripper_works_at_are_questioned_or_refused(tmp_path, by, code):
    path = table(tmp_path, lambda cells: cells.assign(**{"Depth (mm)": cells["Depth (mm)"] * by}))
    if code:
        assert code in {issue.code for issue in read(path).issues}
    else:
        with pytest.raises(InputError, match="half of the depths are more than 1500 mm"):
            read(path)


def test_rows_without_a_fix_or_at_zero_have_no_place(tmp_path):
    def change(cells):
        cells["Fix quality"] = np.where(np.arange(len(cells)) < 5, 0, 4)
        cells.loc[7, ["Longitude", "Latitude"]] = 0.0
        return cells

    log = read(table(tmp_path, change)).records
    assert (~log["fix"]).to_numpy().nonzero()[0].tolist() == [0, 1, 2, 3, 4, 7]


def test_a_damaged_log_is_used_up_to_the_damage_and_told(tmp_path):
    blob = time_log(PASSES)
    log = read(TaskData({"TLG00001": blob[:-3]}).folder(tmp_path / "a"))
    assert [issue.code for issue in log.issues] == ["time-log-damaged"]
    assert f"{len(PASSES) - 1} records" in log.issues[0].what
    assert len(log.records) == len(PASSES) - 1


def test_a_log_of_two_parts_leaves_the_spoilt_one_out(tmp_path):
    folder = TaskData({"TLG00001": time_log(PASSES), "TLG00002": b"", "TLG00003": b"x"}).folder(tmp_path / "a")
    (folder / "TLG00003.xml").unlink()
    log = read(folder)
    assert {issue.code for issue in log.issues} == {"time-log-empty", "time-log"}
    same(log)


def test_only_logs_that_hold_a_depth_are_taken(tmp_path):
    folder = TaskData({"TLG00001": time_log(PASSES), "TLG00002": time_log(PASSES)}).folder(tmp_path / "a")
    other = (folder / "TLG00002.xml").read_text().replace("0034", "0001")
    (folder / "TLG00002.xml").write_text(other)
    same(read(folder))


def test_depths_of_several_sections_are_averaged(tmp_path):
    data = TaskData({"TLG00001": time_log(PASSES)}, entries=("0034", "0034", "0043", "0094"))
    log = read(data.folder(tmp_path / "a"))
    assert [issue.code for issue in log.issues] == ["depth-sections"]
    np.testing.assert_allclose(log.records["depth_mm"], (PASSES["depth_mm"] + PASSES["working"]) / 2)


def test_a_depth_that_was_only_asked_for_is_no_measurement(tmp_path):
    data = TaskData({"TLG00001": time_log(PASSES)}, entries=("0033", "008D", "0043", "0094"))
    log = read(data.folder(tmp_path / "a"))
    assert "asked for" in log.issues[0].what
    assert log.records["depth_mm"].isna().all()


ONE = packed([Record(ms=0, latitude=-33.0, longitude=121.2, values=[(0, 300)])])


@pytest.mark.parametrize(
    ("logs", "spoil", "says"),
    [
        ({}, None, "refer to no time log"),
        ({"TLG00001": b""}, None, "no time log holds a record"),
        ({"TLG00001": b"\1\2"}, None, "no time log holds a record"),
        ({"TLG00001": ONE}, "TLG00001.bin", "TLG00001.BIN is missing"),
        ({"TLG00001": ONE}, "TLG00001.xml", "TLG00001.XML is missing"),
        ({"TLG00001": ONE}, "TASKDATA.XML", "no TASKDATA.XML"),
        ({"TLG00001": ONE}, None, "near the paddock"),
    ],
)
def test_task_data_that_hold_nothing_are_refused_in_one_line(tmp_path, logs, spoil, says):
    folder = TaskData(logs).folder(tmp_path / "a")
    if spoil:
        (folder / spoil).unlink()
    with pytest.raises(InputError, match=says) as caught:
        read(folder)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("longitude,latitude,depth mm\n", "no rows"),
        ("a,b\n1,2\n", "no column of depth and x and y"),
        ("longitude,latitude,depth\n121.2,-33.0,300\n", "unit of depth"),
        ("longitude,latitude,depth mm\n500000,6000000,300\n", "no degrees"),
        ("longitude,latitude,depth mm\n-30.5,118,300\n", "seem swapped; swap the names of the two columns"),
        ("longitude,latitude,depth mm\n121.2,-33.0,300\n", "near the paddock"),
        ("longitude,latitude,depth mm\nx,y,300\n", "near the paddock"),
    ],
)
def test_a_point_table_that_cannot_be_used_is_refused(tmp_path, text, says):
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=says):
        read(tmp_path / "log.csv")


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read(tmp_path / "gone")
