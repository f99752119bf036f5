"""Too few, too plain or too awkward data: a plain statement and a simpler map, or one plain error."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
import xarray as xr

from hardpan.core.errors import InputError
from hardpan.records.pan import Bottom, Peak, State
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan

SETTINGS = SurfaceSettings(cell_m=10.0, draws=20)


def mapped(truth, insertions, **survey):
    pan = replace(truth.pan, insertions=insertions.reset_index(drop=True))
    return map_pan(pan, replace(truth.survey, **survey), SETTINGS, seed=1)


def codes(surfaces):
    return {issue.code for issue in surfaces.issues}


def some_sites(truth, count):
    return truth.pan.insertions[
        truth.pan.insertions["site"].isin(sorted(truth.pan.insertions["site"].unique())[:count])
    ]


def is_whole(surfaces):
    return all(
        np.isfinite(surfaces.maps[name].to_numpy()[surfaces.inside]).all()
        for name in ("pan_bottom_mm", "pan_bottom_sd_mm", "pan_top_mm", "pan_probability")
    )


def test_few_sites_give_the_mean_of_the_soil_type(truth):
    surfaces = mapped(truth, some_sites(truth, 7))
    assert is_whole(surfaces)
    assert "few-sites" in codes(surfaces)
    for code in range(3):
        here = surfaces.maps["soil"].to_numpy() == code
        assert np.ptp(surfaces.maps["pan_bottom_mm"].to_numpy()[here]) == pytest.approx(0.0, abs=1e-6)
    assert set(surfaces.models["family"]) == {"none"}


@pytest.mark.parametrize("count", [3, 4])
def test_three_sites_still_give_a_map(truth, count):
    met = truth.pan.insertions[truth.pan.insertions["state"] == State.PRESENT]
    insertions = met[met["site"].isin(sorted(met["site"].unique())[:count])]
    assert insertions["site"].nunique() == count
    assert is_whole(mapped(truth, insertions))


def test_two_sites_are_refused_in_one_line(truth):
    with pytest.raises(InputError, match="2 probe sites can be used") as caught:
        mapped(truth, some_sites(truth, 2))
    assert "\n" not in str(caught.value)


def test_no_usable_insertion_is_refused(truth):
    with pytest.raises(InputError, match=r"no insertion shows a pan .* only 0 of"):
        mapped(truth, truth.pan.insertions.assign(state=State.UNUSABLE))


@pytest.mark.parametrize("peaks", [Peak.OBSERVED, Peak.CENSORED])
def test_a_bottom_nobody_saw_leaves_presence_and_top_and_a_map_that_is_not_scored(truth, peaks):
    insertions = truth.pan.insertions.copy()
    present = insertions["state"] == State.PRESENT
    insertions.loc[present, "bottom_kind"] = Bottom.CENSORED
    insertions.loc[present, "peak_kind"] = peaks
    insertions.loc[present, ["bottom_mm", "bottom_sd_mm"]] = np.nan
    found, seen = mapped(truth, insertions), mapped(truth, truth.pan.insertions)
    for name in ("pan_probability", "pan_top_mm"):
        inside = found.inside
        assert np.allclose(found.maps[name].to_numpy()[inside], seen.maps[name].to_numpy()[inside], rtol=0.2)
    assert found.verdict is not None
    assert found.verdict.unseen_mm == pytest.approx(insertions.loc[present, "bottom_low_mm"].max(), rel=1e-12)
    assert np.isnan(found.verdict.gain)
    assert np.isfinite(found.maps["peak_kpa"].to_numpy()[inside]).all()


def test_a_paddock_without_a_pan_is_mapped_as_such(truth):
    insertions = truth.pan.insertions.assign(
        state=State.ABSENT, bottom_kind=Bottom.ABSENT, bottom_mm=np.nan, top_mm=np.nan
    )
    surfaces = mapped(truth, insertions)
    assert "no-pan" in codes(surfaces)
    assert not surfaces.draws["present"].to_numpy().any()
    assert all(np.isfinite(surfaces.draws[name].to_numpy()).all() for name in ("top_mm", "bottom_mm", "peak_kpa"))
    chance = surfaces.maps["pan_probability"].to_numpy()[surfaces.inside]
    assert np.all((chance > 0) & (chance < 0.1))
    assert np.isnan(surfaces.maps["pan_bottom_mm"].to_numpy()).all()
    assert surfaces.verdict is None


def test_a_pan_everywhere_leaves_a_little_doubt(truth):
    insertions = truth.pan.insertions[truth.pan.insertions["state"] == State.PRESENT]
    chance = mapped(truth, insertions).maps["pan_probability"].to_numpy()
    inside = np.isfinite(chance)
    assert np.all((chance[inside] > 0.9) & (chance[inside] < 1))


def test_sites_on_a_line_give_no_spatial_structure(truth):
    insertions = truth.pan.insertions.copy()
    along = insertions.geometry.x
    middle = insertions.geometry.y.mean()
    line = insertions.set_geometry(shapely.points(along, middle + 0.3 * (along - along.mean())), crs=insertions.crs)
    surfaces = mapped(truth, line)
    assert is_whole(surfaces)
    assert "sites-on-a-line" in codes(surfaces)


def test_identical_values_are_said_to_be(truth):
    insertions = truth.pan.insertions.copy()
    present = insertions["state"] == State.PRESENT
    insertions.loc[present, ["bottom_mm", "bottom_low_mm", "bottom_high_mm"]] = [400.0, 390.0, 410.0]
    insertions.loc[present, "bottom_kind"] = Bottom.OBSERVED
    insertions.loc[present, "bottom_sd_mm"] = 5.0
    surfaces = mapped(truth, insertions)
    assert "identical-values" in codes(surfaces)
    assert surfaces.maps["pan_bottom_mm"].to_numpy()[surfaces.inside] == pytest.approx(400.0, abs=1.0)


def test_sites_at_one_place_become_one(truth):
    insertions = truth.pan.insertions.copy()
    first, second = sorted(insertions["site"].unique())[:2]
    there = insertions[insertions["site"] == first].geometry.iloc[0]
    insertions.loc[insertions["site"] == second, "geometry"] = shapely.Point(there.x + 0.2, there.y)
    surfaces = mapped(truth, insertions)
    assert is_whole(surfaces)
    assert "coincident-sites" in codes(surfaces)


def test_all_insertions_at_one_place_are_one_site_and_refused(truth):
    insertions = truth.pan.insertions.copy()
    insertions["geometry"] = insertions.geometry.iloc[0]
    with pytest.raises(InputError, match="1 place"):
        mapped(truth, insertions)


def test_a_soil_type_without_a_probe_is_wide_open(truth):
    soils = truth.survey.soils
    on = insertions_on(truth, soils.geometry.iloc[2])
    surfaces = mapped(truth, truth.pan.insertions[~on])
    assert is_whole(surfaces)
    assert "soil-type-without-probe" in codes(surfaces)
    sd, soil = surfaces.maps["pan_bottom_sd_mm"].to_numpy(), surfaces.maps["soil"].to_numpy()
    code = surfaces.soil_types.index(soils["soil_type"].iloc[2])
    assert sd[soil == code].min() > np.nanmean(sd[(soil != code) & surfaces.inside])


def insertions_on(truth, shape):
    return truth.pan.insertions.geometry.intersects(shape).to_numpy()


def test_a_covariate_missing_over_part_is_filled_and_said_so(truth):
    frame = truth.survey.frame
    raster = np.tile(np.linspace(10.0, 40.0, frame.n_cols), (frame.n_rows, 1))
    raster[:20] = np.nan
    grid = {"y": frame.y_m, "x": frame.x_m}
    surfaces = mapped(
        truth,
        truth.pan.insertions,
        covariates=xr.Dataset({"eca": (("y", "x"), raster), "flat": (("y", "x"), 0 * raster)}, coords=grid),
    )
    assert is_whole(surfaces)
    assert {"covariate-filled", "covariate-not-used"} <= codes(surfaces)
    assert surfaces.models["trend"].str.contains("eca").all()


def test_a_paddock_without_a_soil_map_is_one_soil(truth):
    surfaces = mapped(truth, truth.pan.insertions, soils=truth.survey.soils.iloc[:0])
    assert is_whole(surfaces)
    assert len(surfaces.soil_types) == 1


def test_one_insertion_a_site_leaves_the_split_of_the_nugget_open(truth):
    surfaces = mapped(truth, truth.pan.insertions.drop_duplicates("site"))
    assert is_whole(surfaces)
    assert "one-insertion-a-site" in codes(surfaces)
