"""Lists of paddocks."""

from datetime import date

import pytest

from builders.farm import DEFAULTS, write_list
from hardpan.core.errors import HardpanError
from hardpan.run.config import read_config
from hardpan.run.farm_list import read_farm_list, slug_of
from hardpan.run.farm_season import Wishes

NORTH = "[[paddocks]]\nconfig = 'north/paddock.toml'"


def refused(path):
    with pytest.raises(HardpanError) as told:
        read_farm_list(path)
    return str(told.value)


def test_a_list_gives_each_paddock_its_name_folder_and_place(tmp_path):
    listed = read_farm_list(write_list(tmp_path, ["North 40", "south"]))
    assert [(one.name, one.slug, one.place) for one in listed.paddocks] == [
        ("North 40", "north-40", "farm.toml, paddock 1"),
        ("south", "south", "farm.toml, paddock 2"),
    ]


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_a_table_lists_paddocks_by_a_column_config(tmp_path, sign):
    write_list(tmp_path, ["north", "south"])
    path = tmp_path / "farm.csv"
    rows = [
        ("grower", "Config", "paddock"),
        ("one", "north/paddock.toml", ""),
        ("", "", ""),
        ("two", "south/paddock.toml", "Far one"),
    ]
    path.write_text("\ufeff" + "\r\n".join(sign.join(row) for row in rows))
    listed = read_farm_list(path)
    assert [(one.slug, one.place) for one in listed.paddocks] == [
        ("north", "farm.csv, line 2"),
        ("far-one", "farm.csv, line 4"),
    ]
    assert listed.defaults == {}


def test_a_table_says_what_each_paddock_asks_of_the_season(tmp_path):
    write_list(tmp_path, ["north"])
    path = tmp_path / "farm.csv"
    path.write_text("config,must,waiting_per_day,not_before\nnorth/paddock.toml,yes,12.5,2027-05-10\n")
    (listed,) = read_farm_list(path).paddocks
    assert listed.wishes == Wishes(must=True, waiting_per_day=12.5, not_before=date(2027, 5, 10))


def test_defaults_stand_below_the_paddocks_own_settings_and_find_files_beside_the_list(tmp_path):
    more = '[defaults.soil]\ncores = "cores.csv"\ndefault_type = "clay"\n[defaults.surfaces]\ndraws = 30\nnode_m = 40\n'
    listed = read_farm_list(write_list(tmp_path, ["north"], more))
    config = read_config(listed.paddocks[0].config, listed.defaults)
    assert (config.surfaces.draws, config.surfaces.node_m) == (20, 40.0)
    assert (config.soil.default_type, config.soil.cores) == ("deep sand", tmp_path / "cores.csv")


def test_a_paddock_listed_twice_is_one_line_with_both_places(tmp_path):
    path = write_list(tmp_path, ["north"])
    path.write_text(path.read_text() + '\n[[paddocks]]\nconfig = "../' + tmp_path.name + '/north/paddock.toml"\n')
    assert refused(path) == "farm.toml, paddock 2: paddock.toml is listed twice; leave out farm.toml, paddock 1"


def test_two_paddocks_of_one_name_are_one_line_that_says_how_to_tell_them_apart(tmp_path):
    path = write_list(tmp_path, ["north", "North!"])
    assert refused(path) == (
        "farm.toml, paddock 2 and farm.toml, paddock 1: 'North!' and 'north' would share the folder north; "
        "give one of them another name (paddock) in farm.toml"
    )


def test_missing_configurations_are_told_together_one_line_each(tmp_path):
    path = write_list(tmp_path, ["north"])
    path.write_text(path.read_text() + '\n[[paddocks]]\nconfig = "no.toml"\n[[paddocks]]\nconfig = "none.toml"\n')
    lines = refused(path).splitlines()
    assert [line.split(": ")[0] for line in lines] == ["farm.toml, paddock 2", "farm.toml, paddock 3"]
    assert all("no such file" in line for line in lines)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "key 'paddocks' is missing"),
        ("paddocks = []", "lists no paddock"),
        ("paddocks = 3", "cannot be used"),
        (NORTH + '\nfile = "a.toml"', "unknown key 'paddocks 1 (north/paddock.toml).file'"),
        ("[defaults]\nsoils = 1\n" + NORTH, "defaults.soils is no table"),
        ("[defaults.pan]\ncritical = 1\n" + NORTH, "unknown key 'defaults.pan.critical'"),
        ("= 3", "not valid TOML"),
    ],
)  # fmt: skip
def test_a_list_that_is_none_is_one_line(tmp_path, text, told):
    path = write_list(tmp_path, ["north"])
    path.write_text(text)
    message = refused(path)
    assert told in message
    assert len(message.splitlines()) == 1


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("farm.csv", b"paddock\nnorth\n", "has no column config"),
        ("farm.csv", b"config,config\na,b\n", "has two columns config"),
        ("farm.csv", b"config\n", "lists no paddock"),
        ("farm.csv", b"config,must\na,maybe\n", "must = 'maybe' cannot be used; expected true or false"),
        ("farm.csv", b"config,Not_after\na,31/02/2027\n", "not_after = '31/02/2027' cannot be used; expected a date"),
        ("farm.csv", b"config,waiting_per_day\na,inf\n", "waiting_per_day = 'inf' cannot be used; expected a finite"),
        ("farm.toml", b"[plan]\nfold_h = inf\n", "plan.fold_h is infinite or no number; expected a finite number"),
        (
            "farm.toml",
            b"[[paddocks]]\nconfig = 'a'\npaddock = ''\n",
            "= '' cannot be used; expected a text that is not",
        ),
        ("farm.csv", "config\nÄ".encode("latin-1"), "is not UTF-8"),
        ("no.csv", None, "no such file"),
        ("no.toml", None, "no such file"),
    ],
)
def test_a_table_that_is_no_list_is_one_line(tmp_path, name, content, told):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    message = refused(tmp_path / name)
    assert told in message
    assert len(message.splitlines()) == 1


@pytest.mark.parametrize("name", ["", ".", "..", "/etc", "con/aux", "a" * 300, "Füße", "日本", "x" * 59 + " y"])
def test_a_slug_is_a_plain_name_of_a_folder(name):
    slug = slug_of(name)
    assert set(slug) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    assert 0 < len(slug) <= 60
    assert slug == slug_of(slug)


def test_a_configuration_that_cannot_be_read_still_has_a_place_in_the_list(tmp_path):
    path = write_list(tmp_path, ["north"], DEFAULTS)
    (tmp_path / "north" / "paddock.toml").write_text("[paddock\n")
    assert [one.slug for one in read_farm_list(path).paddocks] == ["paddock"]
