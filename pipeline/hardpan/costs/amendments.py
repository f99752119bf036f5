"""Lime and gypsum: only amounts that the configuration gives, or the requirement of a soil test that it gives."""

from hardpan.core.errors import SettingsError
from hardpan.records.catalog import Quantity, Reclaim, SoilType


def amendments_t_per_ha(soil: SoilType, gypsum_per_meq: Quantity | None) -> dict[str, float]:
    """Give what is spread where the soil is ripped, item -> t/ha; items without an amount are absent."""
    rates = {name: rate.value for name, rate in (("lime", soil.lime), ("gypsum", soil.gypsum)) if rate is not None}
    if soil.reclaim is not None:
        if gypsum_per_meq is None:
            raise SettingsError(what="gypsum_per_meq is missing", where="[prices]", do="give it in prices.overrides")
        rates["gypsum"] = gypsum_need_t_per_ha(soil.reclaim, gypsum_per_meq)
    return {name: rate for name, rate in rates.items() if rate > 0.0}


def gypsum_need_t_per_ha(test: Reclaim, per_meq: Quantity) -> float:
    """Give the gypsum that brings a layer to the target share of sodium, t/ha (`irrigation-ex87`).

    Notes
    -----
    (ESP - target) / 100 x CEC meq/100 g x t/ha per meq in 300 mm x depth / 300 mm x field factor. Chemistry of
    reclamation, not a recommendation: the rate of a season is the agronomist's.
    """
    replaced_meq = max(test.esp.value - test.target_esp.value, 0.0) / 100.0 * test.exchange_capacity.value
    return replaced_meq * per_meq.value * test.depth.value / 300.0 * test.field_factor.value
