"""What work costs by a catalogue, as expected: the same equations as the draws, at every number's own value."""

from collections.abc import Mapping

from hardpan.money.draws import Draws
from hardpan.money.machines import hourly_items
from hardpan.money.rates import other_prices, running_items
from hardpan.records.catalog import Catalog


def expected_rates(catalog: Catalog) -> Mapping[str, float]:
    """Money per hour, per litre and, of points, per ha (`per_hour`, `per_litre`, `wear_per_ha`), and prices by key."""
    once = Draws(n_draws=1, seed=0)
    running = running_items(catalog.prices, once)
    return {
        **{name: float(price[0]) for name, price in other_prices(catalog.prices, once).items()},
        "per_hour": sum(float(each[0]) for each in hourly_items(catalog, once).values()),
        "per_litre": sum(float(each[0]) for each in running["L"].values()),
        "wear_per_ha": float(running["ha"]["points and wear"][0]),
    }
