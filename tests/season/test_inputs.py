"""Soil types as the balance has them, against the table they come from."""

import pytest

from builders.decision import shipped_catalog
from hardpan.season.inputs import profile_of

TABLE_19 = {
    "sand": ((0.07, 0.17), (0.02, 0.07), (2, 7), (6, 12)),
    "loamy sand": ((0.11, 0.19), (0.03, 0.10), (4, 8), (9, 14)),
    "sandy loam": ((0.18, 0.28), (0.06, 0.16), (6, 10), (15, 20)),
    "loam": ((0.20, 0.30), (0.07, 0.17), (8, 10), (16, 22)),
    "silt loam": ((0.22, 0.36), (0.09, 0.21), (8, 11), (18, 25)),
    "silty clay": ((0.30, 0.42), (0.17, 0.29), (8, 12), (22, 28)),
    "clay": ((0.32, 0.40), (0.20, 0.24), (8, 12), (22, 29)),
}
"""FAO 56 (`fao56`), table 19: field capacity and wilting point, m3/m3; readily and totally evaporable water of the
upper 100 mm, mm."""


@pytest.fixture(scope="module")
def catalog():
    return shipped_catalog()


@pytest.mark.parametrize("texture", TABLE_19)
def test_the_layer_that_evaporates_is_that_of_table_19_of_fao_56(catalog, texture):
    capacity, wilting, readily, total = TABLE_19[texture]
    layer = catalog.balance.surface[texture]
    assert [layer.field_capacity.span, layer.wilting_point.span, layer.readily_evaporable.span] == [
        capacity, wilting, readily,
    ]  # fmt: skip
    soil = next(iter(catalog.soils.values())).model_copy(update={"water_texture": texture})
    water = {texture: next(iter(catalog.available_water.values())), **catalog.available_water}  # below: not looked at
    profile = profile_of(catalog.model_copy(update={"soils": {"its": soil}, "available_water": water}), ["its"])
    assert profile.readily_mm[0] == pytest.approx(sum(readily) / 2)
    assert total[0] <= profile.total_mm[0] <= total[1]  # the balance takes equation 73 of the middles
