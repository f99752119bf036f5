import pytest

from hardpan.core.errors import SettingsError
from hardpan.core.settings import parse
from hardpan.zones.settings import ZoneSettings


@pytest.mark.parametrize(
    "values",
    [
        {"count": 0},
        {"count": "several"},
        {"min_width_m": -1.0},
        {"min_area_ha": -0.1},
        {"method": "guess"},
        {"max_count": 0},
        {"simplify_m": -5},
    ],
)
def test_values_that_cannot_be_are_refused_in_one_line(values):
    with pytest.raises(SettingsError) as caught:
        parse(ZoneSettings, values, file="farm.toml")
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("farm.toml: ")
    assert next(iter(values)) in str(caught.value)


def test_an_unknown_key_names_the_nearest():
    with pytest.raises(SettingsError, match="min_area_ha"):
        parse(ZoneSettings, {"min_area": 1.0}, file="farm.toml")


def test_words_and_numbers_are_both_taken():
    assert parse(ZoneSettings, {"count": 4, "min_width_m": 12}, file="").count == 4
    assert parse(ZoneSettings, {"count": "auto", "min_width_m": "implement"}, file="").min_width_m == "implement"
