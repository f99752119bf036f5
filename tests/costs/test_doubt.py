"""Ground where ripping may as well pay as not."""

import numpy as np
import pytest

from builders import records
from hardpan.costs.doubt import follow
from hardpan.prescription.tables import shipped_numbers
from hardpan.records.ledger import Driver

N = 400
RNG = np.random.default_rng(3)
PRICE, OWN = RNG.standard_normal((2, N))


def driven_by(made, draw, catalog=None):
    """The drivers of a plan whose return is made by `draw` from the rates and the options."""
    zones = [("deep sand", 10.0, 400)]
    plan, options = (
        made.plan_of(zones),
        made.options_of(draft=records.draft(made.N_DRAWS, factor=np.linspace(0.5, 1.5, made.N_DRAWS))),
    )
    catalog = catalog or made.SHIPPED
    rates = made.rates_of(catalog, ("deep sand",))
    plan.returns[0] = draw(rates.scenarios, options)
    ledger = made.ledger_of(plan, catalog=catalog, options=options, rates=rates)
    return ledger.drivers.set_index("input")["share"]


def test_a_return_that_is_all_grain_price_is_driven_by_it(made):
    shares = driven_by(made, lambda rates, _: 30.0 * rates["grain_per_t"].to_numpy())
    assert shares.index[0] == "price of grain"
    assert shares.iloc[0] == pytest.approx(1.0)


def test_what_no_input_explains_is_the_pans(made):
    noise = np.random.default_rng(5).normal(size=made.N_DRAWS)
    shares = driven_by(made, lambda *_: noise)
    assert shares.index[0] == "where and how deep the pan is, and how draft follows it"
    assert shares.iloc[0] > 0.9


def test_two_inputs_share_by_their_variances(made):
    def draw(rates, options):
        grain = rates["grain_per_t"].to_numpy()
        return 2.0 * (grain - grain.mean()) / grain.std() + options.draft.factor / options.draft.factor.std()

    shares = driven_by(made, draw)
    assert shares["price of grain"] == pytest.approx(0.8, abs=0.15)  # 200 draws: chance correlation up to 0.14
    assert shares["draft of the soil"] == pytest.approx(0.2, abs=0.15)


EXACT = {"value": 2.0, "low": 2.0, "high": 2.0, "unit": "AUD/L", "source": "user"}


def test_a_known_price_drives_nothing(made):
    catalog = made.shipped_catalog(numbers={"prices": {"fuel_per_l": EXACT}})
    shares = driven_by(made, lambda rates, _: rates["per_litre"].to_numpy() + rates["grain_per_t"].to_numpy(), catalog)
    assert "price of fuel" not in shares


def test_nothing_ripped_is_driven_by_nothing(made):
    assert made.ledger_of(made.plan_of([("deep sand", 10.0, 0)])).drivers.empty


def test_ground_where_ripping_and_leaving_are_nearly_as_good_is_counted(made):
    close = made.plan_of([("deep sand", 50.0, 400), ("deep sand", 7.0, 400)])
    close.returns[1] -= 7.0 * 58.0  # 2 a ha left, with draws 100 to either side
    assert made.ledger_of(close).open_ha == pytest.approx(7.0)


def test_ground_left_where_ripping_might_well_pay_is_counted_too(made):
    zones = [("deep sand", 50.0, 400), ("deep sand", 9.0, 0), ("deep sand", 30.0, 0)]
    spread = np.linspace(-1.0, 1.0, made.N_DRAWS)
    runner_up = np.stack(
        [0.0 * spread, 9.0 * (spread - 0.1), 30.0 * (spread - 0.5)]
    )  # better in 45 and 25 % of the draws
    plan = made.plan_of(zones, runner_up_returns=runner_up)
    assert made.ledger_of(plan).open_ha == pytest.approx(9.0)


def test_ground_that_surely_loses_is_not_open(made):
    sure = made.plan_of([("deep sand", 50.0, 400)], net_per_ha=-250.0)
    assert made.ledger_of(sure).open_ha == 0.0


@pytest.mark.parametrize(("name", "driver"), [("fuel", Driver.FUEL), ("grain_per_t", Driver.GRAIN), (None, Driver.PAN)])
def test_open_ground_names_what_its_doubt_comes_from(made, name, driver):
    plan = made.plan_of([("deep sand", 50.0, 400), ("deep sand", 7.0, 400)])
    rates = made.rates_of(made.shipped_catalog())
    drawn = np.random.default_rng(5).normal(size=made.N_DRAWS) if name is None else rates.scenarios[name].to_numpy()
    plan.returns[1] = drawn - np.median(drawn)
    assert made.ledger_of(plan).open_by == driver


def test_ground_that_is_not_open_names_nothing(made):
    assert made.ledger_of(made.plan_of([("deep sand", 50.0, 400)], net_per_ha=-250.0)).open_by is None


def test_every_drawn_number_is_named_as_the_table_of_defaults_names_it(made):
    catalog = made.shipped_catalog()
    known = set(shipped_numbers(catalog, ("deep sand", "sand over clay"))["key"])
    assert set(made.rates_of(catalog).drawn) - known == set()


def test_the_parts_add_up_and_only_what_follows_the_input_is_shared():
    money = 50.0 + 4.0 * PRICE + 3.0 * OWN
    shared = follow(money, PRICE[:, np.newaxis])
    assert np.corrcoef(shared, PRICE)[0, 1] == pytest.approx(1.0)
    assert shared.std() == pytest.approx(4.0, rel=0.1)
    assert (money - shared).mean() == pytest.approx(0.0, abs=1e-9)


def test_inputs_that_do_not_vary_or_repeat_others_change_nothing():
    money = 4.0 * PRICE + OWN
    alone = follow(money, PRICE[:, np.newaxis])
    more = follow(money, np.column_stack([PRICE, np.full(N, 7.0), 2.0 * PRICE]))
    assert more == pytest.approx(alone, abs=1e-6)


def test_too_few_draws_tell_nothing_apart_so_all_counts_as_shared():
    money = OWN[:12]
    assert np.array_equal(follow(money, RNG.standard_normal((12, 3))), money)


def test_without_any_input_the_mean_alone_is_shared():
    assert follow(OWN, np.empty((N, 0))) == pytest.approx(np.full(N, OWN.mean()))
