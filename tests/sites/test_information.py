"""The value of information against published and closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from builders import decision
from hardpan.options import build_ground, economy_on, stakes_at
from hardpan.records.surfaces import MapErrors
from hardpan.sites.information import FALLS, Units, answers_worth, given_answers, units_of, value_information


def linear(mean, sd, *, chance=1.0, forbidden=False):
    """Two choices: nothing, or a net benefit that is normal where there is a pan and follows its depth, sd 50 mm."""
    return Units(
        unit=np.array([0]),
        place=np.array([0]),
        ha=np.array([1.0]),
        chance=np.array([chance]),
        gain=np.array([[0.0, (1000.0 + mean) * chance]]),
        slope=np.array([[0.0, sd / 50.0 * chance]]),
        cost=np.array([[0.0, np.inf if forbidden else 1000.0]]),
    )


def value(units, bottom, pan=0.0):
    return float(value_information(units, np.array([50.0])).at(np.array([bottom]), np.array([pan]))[0])


def unit_normal_loss(u):
    return norm.pdf(u) - u * norm.sf(u)


def test_perfect_and_sample_information_of_the_oil_example_of_hillier_and_lieberman():
    """Drill 700 or -100, sell 90; oil 0.25; a survey that is right in 0.6 and 0.8: EVPI 142.5, EVSI 53.

    Numbers of the textbook's first oil example as cited in a public exercise (read at second hand), recomputed.
    """
    perfect = answers_worth(np.array([[700.0, 90.0], [-100.0, 90.0]]), np.array([0.25, 0.75]))
    assert perfect == pytest.approx(142.5, abs=1e-9)
    for_oil = np.array([0.25 * 0.6 / 0.3, 0.25 * 0.4 / 0.7])
    drill = 800.0 * for_oil - 100.0
    sample = answers_worth(np.column_stack([drill, [90.0, 90.0]]), np.array([0.3, 0.7]))
    assert sample == pytest.approx(53.0, abs=1e-9)


@pytest.mark.parametrize("mean", [0.0, 10.0, -30.0, 80.0])
@pytest.mark.parametrize("fall", FALLS[1:-1])
def test_two_choices_with_a_normal_benefit_have_the_value_of_the_closed_form(mean, fall):
    """s L(|m| / s), s the preposterior standard deviation; tolerance: 1.5 % of the spread, from 31 answers."""
    s = 40.0 * np.sqrt(fall)
    assert value(linear(mean, 40.0), fall) == pytest.approx(s * unit_normal_loss(abs(mean) / s), abs=0.015 * 40 / 4)


@pytest.mark.parametrize(("probes", "says"), [(1, 6.982), (3, 9.392), (10, 10.735)])
def test_further_probes_bring_less_each_as_computed_by_hand(probes, says):
    """m 10, s0 40, standard error of a probe 40: 6.982, 9.392, 10.735 (from the tables of the unit normal loss)."""
    fall = 40.0**2 / (40.0**2 + 40.0**2 / probes)
    assert value(linear(10.0, 40.0), fall) == pytest.approx(says, rel=0.012)


@pytest.mark.parametrize("chance", [1.0, 0.6])
@pytest.mark.parametrize("mean", [-300.0, 0.0, 40.0])
def test_an_answer_that_tells_nothing_is_worth_nothing(mean, chance):
    assert value(linear(mean, 40.0, chance=chance), 0.0) == 0.0


def test_values_rise_with_what_is_known_and_none_passes_perfect_knowledge():
    """To know pan and bottom is worth no more than the best of either choice given both."""
    units = linear(100.0, 40.0, chance=0.9)
    table = value_information(units, np.array([50.0])).table[0]
    assert (np.diff(table, axis=0) >= -1e-9).all()
    assert (np.diff(table, axis=1) >= -1e-9).all()
    with_both = 0.9 * (40.0 * unit_normal_loss(100.0 / 40.0) + 100.0)
    assert 0.0 < table.max() <= with_both


def test_far_from_the_threshold_a_wide_doubt_is_worth_nothing():
    assert value(linear(400.0, 40.0), 0.9) < 1e-3


def test_whether_there_is_a_pan_is_a_question_of_its_own():
    """A pan with chance one half, worth 1,400 where there is one, at a cost of 1,000: to know is worth 0.5 x 400."""
    units = linear(400.0, 0.0, chance=0.5)
    assert value(units, 0.9, 0.0) == pytest.approx(0.0, abs=1e-6)
    assert value(units, 0.0, 0.99) == pytest.approx(200.0, rel=0.12)


@pytest.mark.parametrize("chance", [0.05, 0.5, 0.92])
def test_chances_after_an_answer_have_the_chance_before_it_for_their_mean(chance):
    """And at a fall of 0.5 their variance is that of P(pan | t) of the bivariate normal, by quadrature."""
    given = given_answers(np.array([chance]))[FALLS == 0.5][0, :, 0]
    at = np.linspace(-4.0, 4.0, given.size)
    weight = norm.pdf(at) / norm.pdf(at).sum()
    fine = np.linspace(-8.0, 8.0, 20001)
    exact = norm.cdf((norm.ppf(chance) + np.sqrt(0.5) * fine) / np.sqrt(0.5))
    variance = np.average((exact - chance) ** 2, weights=norm.pdf(fine))
    assert weight @ given == pytest.approx(1.0)
    assert chance**2 * (weight @ (given - 1.0) ** 2) == pytest.approx(variance, rel=0.02)


def test_an_option_that_is_forbidden_is_no_question():
    assert value(linear(0.0, 40.0, forbidden=True), 0.9, 0.9) == 0.0


def test_a_doubt_that_parts_of_a_unit_do_not_share_changes_no_choice_of_the_whole():
    """Two halves of which one gains what the other loses with depth: one depth for both has nothing to learn."""
    halves = Units(
        unit=np.array([0, 0]), place=np.array([0, 1]), ha=np.ones(2), chance=np.ones(2),
        gain=np.array([[0.0, 1000.0], [0.0, 1000.0]]), slope=np.array([[0.0, 4.0], [0.0, -4.0]]),
        cost=np.array([[0.0, 2000.0]]),
    )  # fmt: skip
    assert value(halves, 0.9) == pytest.approx(0.0, abs=1e-9)


@pytest.fixture(scope="module")
def worked():
    """Two zones, one over hostile clay, each of two classes: what is at stake, its units, plan and zones."""
    catalog = decision.shipped_catalog()
    soils = ("deep sand", "sand over clay")
    surfaces, survey, zones = decision.ground(soils=soils, bottom_mm=(380.0, 420.0), clay_mm=(np.nan, 480.0))
    place = np.arange(surfaces.node_of_cell.max() + 1) // 10
    surfaces = replace(
        surfaces, errors=MapErrors(place_of_node=place, xy_m=np.zeros((place.max() + 1, 2)), covariances={})
    )
    zones = replace(zones, classes=np.indices(zones.labels.shape)[0] // (zones.labels.shape[0] // 2))
    money = decision.rates(soils)
    options, evidence, asked = decision.weighed((surfaces, survey, zones), catalog, money)
    _, plan = decision.decide((surfaces, survey, zones), catalog, money)
    ground = build_ground(surfaces, survey, catalog, asked.prescription)
    fitted = options.table.loc[options.fitted, ["option", "setup", "depth_mm", "spacing_mm"]]
    economy = economy_on(
        ground, fitted, evidence, catalog, money, draft=options.draft, asked=asked, tines=options.tines
    )
    stakes = stakes_at(economy, options)
    return stakes, units_of(zones, plan, surfaces, stakes), plan, zones


def test_each_class_of_a_zone_is_a_unit_and_none_of_the_ground_is_left(worked):
    _, units, _, zones = worked
    assert len(units.cost) == 4
    assert units.ha.sum() == pytest.approx(zones.table["area_ha"].sum())
    assert (np.diff(units.unit) >= 0).all()


def test_units_together_return_what_the_plan_says_of_their_zone(worked):
    """For every option that is allowed there, the price of setting the zone in it."""
    stakes, units, plan, zones = worked
    net = np.stack([units.gain[units.unit == unit].sum(axis=0) for unit in range(4)]) - units.cost
    for row, pair in enumerate(([0, 1], [2, 3])):
        said = plan.candidates[plan.candidates["zone"] == row + 1].set_index("option")["net_per_ha"]
        said = said.reindex(stakes.option).to_numpy() * zones.table["area_ha"].iloc[row]
        allowed = np.isfinite(said)
        assert allowed.sum() >= 3
        assert net[pair].sum(axis=0)[allowed] == pytest.approx(said[allowed], abs=0.01)
        assert np.isneginf(net[pair][:, ~allowed]).all()


def test_leaving_is_open_to_all_and_costs_nothing(worked):
    _, units, _, _ = worked
    assert units.cost[:, 0] == pytest.approx(np.zeros(4), abs=1e-9)
    assert units.gain[:, 0] == pytest.approx(0.0)


def test_shares_of_the_places_of_a_unit_add_up_to_one(worked):
    _, units, _, _ = worked
    for shares in (units.bottom_shares(20), units.pan_shares(20)):
        assert shares.sum(axis=1) == pytest.approx(np.ones(4))
        assert ((shares > 0).sum(axis=1) > 1).all()
