"""The charts draw what the records say, in the reader's units."""

import numpy as np
import pandas as pd
import pytest

from hardpan.outputs.report import facts, figures
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_svg, draw_zone_map


@pytest.fixture(scope="module")
def mm(catalog):
    return speak(Units.of(OutputSettings(display_unit="mm"), "AUD"), catalog)


ZONE = {"zone": 1, "depth_mm": 300, "spacing_mm": 600.0, "net_per_ha": 140.0, "setup": "plain"}


def section_line(catalog, zone, critical_mm, mm):
    figure = figures.draw_section(zone, catalog.setups["plain"], critical_mm, (180.0, 380.0), mm)
    x, y = figure.axes[0].lines[0].get_data()
    return np.asarray(x), np.asarray(y)


def test_the_ridge_between_tines_has_the_height_of_the_geometry(catalog, mm):
    # Foot 60 mm, spacing 600 mm, sides at 45 degrees: (600 - 60) / 2 x tan 45 = 270 mm above the foot.
    x, y = section_line(catalog, ZONE, 1_000.0, mm)
    assert y[np.abs(x).argmin()] == pytest.approx(300.0)
    assert y[np.abs(x - 300).argmin()] == pytest.approx(300.0 - 270.0, abs=2.0)


def test_below_the_critical_depth_there_is_only_a_slot(catalog, mm):
    x, y = section_line(catalog, ZONE, 200.0, mm)
    assert y[np.abs(x).argmin()] == pytest.approx(300.0)
    assert y[(np.abs(x) > 35) & (np.abs(x) < 565)].max() <= 200.0


def test_the_working_depth_is_marked_and_depth_runs_down(run, mm):
    profile, stops = facts.zone_profiles(run)[1]
    figure = figures.draw_profile(profile, stops, ZONE, threshold_kpa=2500.0, pan_mm=(180.0, 380.0), words=mm)
    (axes,) = figure.axes
    low, high = axes.get_ylim()
    assert low > high == 0
    assert [text.get_text().strip() for text in axes.texts] == ["working depth"]
    assert axes.texts[0].get_position()[1] == 300
    assert axes.get_xlabel() == "cone index, MPa"


def test_a_zone_nobody_probed_still_has_a_chart(mm):
    figure = figures.draw_profile(
        facts.NO_READINGS, facts.NO_READINGS, ZONE, threshold_kpa=2500.0, pan_mm=(np.nan, np.nan), words=mm
    )
    assert "<svg" in as_svg(figure)


def test_only_allowed_options_are_drawn_and_the_choice_is_marked(mm):
    candidates = pd.DataFrame(
        {"setup": ["plain"] * 3, "depth_mm": [250, 300, 350], "net_per_ha": [100.0, 140.0, np.nan],
         "allowed": [True, True, False]}
    )  # fmt: skip
    (axes,) = figures.draw_candidates(candidates, ZONE, {"plain": "plain tines", "winged": "wings"}, mm).axes
    curve, _, choice = axes.lines
    assert list(curve.get_xdata()) == [250, 300]
    assert (choice.get_xdata()[0], choice.get_ydata()[0]) == (300, 140.0)


def test_a_drawing_takes_its_ink_from_the_page_and_is_the_same_each_time(plan, mm):
    colours = {0: "#e4e1d8", 300: "#dddd00", 450: "#440154"}
    first, second = (as_svg(draw_zone_map(plan.zones, colours, mm)) for _ in range(2))
    assert first == second
    assert "currentColor" in first
    assert first.count("<svg") == 1
    assert "#440154" in first
    assert "<!DOCTYPE" not in first
    assert ' id="figure' not in first


def test_each_piece_of_a_zone_says_its_depth_in_letters_read_at_arms_length(plan, catalog):
    # common practice: 10 points and more; the card prints the map no smaller than it is drawn
    colours = {0: "#e4e1d8", 300: "#dddd00", 450: "#440154"}
    texts = draw_zone_map(plan.zones, colours, speak(Units.of(OutputSettings(), "AUD"), catalog)).axes[0].texts
    depths = [text for text in texts if "leave" in text.get_text() or "cm" in text.get_text()]
    assert sum(text.get_text() == "3\nleave" for text in depths) == 2  # two corners, one zone
    assert all(text.get_fontsize() >= 10 for text in depths)


def test_every_zone_with_room_is_labelled_in_the_unit_of_the_reader(plan, catalog):
    colours = {0: "#e4e1d8", 300: "#dddd00", 450: "#440154"}
    inches = speak(Units.of(OutputSettings(units="us"), "USD"), catalog)
    said = [text.get_text() for text in draw_zone_map(plan.zones, colours, inches).axes[0].texts]
    assert "1\n11.8\u00a0in" in said
    assert "3\nleave" in said
    assert any(text.endswith(" ft") for text in said)


def test_points_of_more_pairs_are_larger_and_both_models_are_drawn(surfaces, mm):
    axes = figures.draw_variogram(surfaces.variograms, mm).axes[0]
    sizes = axes.collections[0].get_sizes()
    assert list(np.argsort(sizes)) == list(np.argsort(surfaces.variograms["pairs"]))
    assert [line.get_label() for line in axes.lines] == ["fitted to what was read", "used by the map"]
    assert axes.lines[1].get_ydata().tolist() == surfaces.variograms["reml"].tolist()
    assert axes.get_xlabel() == "between two sites, m"
