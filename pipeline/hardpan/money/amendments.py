"""What goes with the pass: lime and gypsum as the configuration or its soil test says, and work after it."""

from collections.abc import Iterable

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.records.ledger import Rates
from hardpan.records.quantity import Quantity
from hardpan.records.rules import After
from hardpan.records.soils import Reclaim, SoilType


def gypsum_to_reclaim(test: Reclaim, per_meq: Quantity) -> Quantity:
    """Gypsum that brings a sodic layer to the target share of sodium, t/ha, with its range (`irrigation-ex87`).

    Notes
    -----
    (ESP - target) / 100 x exchange capacity x t/ha per meq in 300 mm x depth / 300 mm x field factor. Chemistry of
    reclamation, not a recommendation: the rate of a season is the agronomist's.
    """
    rising = [q.ends for q in (test.esp, test.exchange_capacity, test.depth, test.field_factor, per_meq)]
    low, value, high = (
        max(esp - target, 0.0) / 100.0 * capacity * each * depth / 300.0 * factor
        for esp, capacity, depth, factor, each, target in zip(*rising, test.target_esp.ends[::-1], strict=True)
    )
    return Quantity(value=value, low=low, high=high, unit="t/ha", source=per_meq.source)


def spread_rates(soil: SoilType, gypsum_per_meq: Quantity | None) -> dict[str, Quantity]:
    """Lime and gypsum to spread where the soil is ripped, item -> t/ha; items without an amount are absent.

    A soil test comes before a rate of gypsum.

    Raises
    ------
    SettingsError
        There is a soil test, but no price table entry of what replaces its sodium.
    """
    gypsum = soil.gypsum
    if soil.reclaim is not None:
        if gypsum_per_meq is None:
            raise SettingsError(what="gypsum_per_meq is missing", where="[prices]", do="give it in [numbers.prices]")
        gypsum = gypsum_to_reclaim(soil.reclaim, gypsum_per_meq)
    given = {"lime": soil.lime, "gypsum": gypsum}
    return {item: rate for item, rate in given.items() if rate is not None and rate.value > 0.0}


def after_per_ha(asked: Iterable[After], rates: Rates) -> Floats:
    """Money per ha for work after the pass, (n_draws,); work without a price counts as none."""
    drawn = rates.scenarios
    money = [drawn[work.price].to_numpy() for work in asked if work.price in drawn]
    return np.asarray(sum(money, np.zeros(drawn.sizes["draw"])))
