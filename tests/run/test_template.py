import re
import tomllib
from datetime import date
from typing import get_args, get_origin

import pytest

from builders import decision
from hardpan.core.errors import SettingsError
from hardpan.prescription.stage import prescribe
from hardpan.records.decision import HistorySettings, PrescriptionSettings, SeasonSettings
from hardpan.run.config import Config, read_config
from hardpan.run.template import template, write_template


def test_the_template_is_a_valid_configuration(tmp_path):
    config = read_config(write_template(tmp_path))
    assert config.paddock.name == "My paddock"


def table_class(field):
    """Settings class of a table, or of each table of a list."""
    return get_args(field.annotation)[0] if get_origin(field.annotation) is tuple else field.annotation


def test_the_template_names_every_key_of_every_table():
    lines = template().splitlines()
    for table, field in Config.model_fields.items():
        assert {f"[{table}]", f"# [[{table}]]"} & set(lines)
        for key in (setting.alias or name for name, setting in table_class(field).model_fields.items()):
            assert any(re.match(rf"(# +)?{key} = |\[{table}\.{key}\]", line) for line in lines), f"{table}.{key}"


def test_every_default_in_the_template_can_be_switched_on(tmp_path):
    switched = [re.sub(r"^# (\w+ = )", r"\1", line) for line in template().splitlines() if " = ...  #" not in line]
    path = tmp_path / "paddock.toml"
    path.write_text("\n".join(switched), encoding="utf-8")
    given, plain = read_config(path), read_config(write_template(tmp_path / "plain"))
    assert tomllib.loads(path.read_text(encoding="utf-8"))["pan"]
    assert given.model_dump(exclude={"paddock", "probes"}) == plain.model_dump(exclude={"paddock", "probes"})


def test_every_setting_says_what_it_is_and_where_its_default_comes_from():
    for table, field in Config.model_fields.items():
        for key, setting in table_class(field).model_fields.items():
            assert setting.description, f"{table}.{key} has no description"


def test_an_existing_file_is_not_overwritten(tmp_path):
    write_template(tmp_path)
    with pytest.raises(SettingsError, match="is there already"):
        write_template(tmp_path)


def test_a_file_in_place_of_the_folder_is_said_plainly(tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(SettingsError, match="taken"):
        write_template(tmp_path / "taken")


def test_settings_that_change_only_what_is_told_say_so():
    told = {line.split()[1] for line in template().splitlines() if "changes only what is told" in line}
    assert {"hours_per_day", "last_ripped", "user_uniform_depth_mm", "strip_cv", "sensitivity_kpa"} <= told
    assert not {"cover_share", "controlled_traffic", "moist_depth_mm", "step_mm"} & told


@pytest.mark.parametrize(
    "told",
    [
        {"prescription": PrescriptionSettings(user_uniform_depth_mm=500.0)},
        {"season": SeasonSettings(cover_pct=10.0, hours_per_day=4.0, fit_days=3.0, finish_by=date(2027, 7, 31))},
        {"history": HistorySettings(last_ripped=2019, last_depth_mm=350.0, season=2027)},
    ],
    ids=lambda told: next(iter(told)),
)
def test_what_is_only_told_changes_no_zone_of_the_plan(told):
    """All settings of the decision that are marked so."""
    (settings,) = told.values()
    marked = {
        key
        for key, field in type(settings).model_fields.items()
        if field.json_schema_extra["told_only"]  # type: ignore[index]
    }
    assert settings.model_fields_set == marked
    paddock, catalog = decision.ground(bottom_mm=(380.0, 480.0), soils=("deep sand",) * 2), decision.shipped_catalog()
    money = decision.rates(["deep sand"])
    options, evidence, asked = decision.weighed(paddock, catalog, money)
    plans = [
        prescribe(paddock[2], options, evidence, catalog, money, asked=one)
        for one in (asked, asked.model_copy(update=told))
    ]
    assert plans[0].zones.equals(plans[1].zones)
    assert (plans[0].returns == plans[1].returns).all()
