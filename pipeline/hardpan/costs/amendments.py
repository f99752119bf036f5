"""Lime and gypsum: only amounts that the configuration gives, or the requirement of a soil test that it gives."""

from hardpan.core.errors import SettingsError
from hardpan.records.quantity import Quantity
from hardpan.records.soils import SoilType


def amendments_t_per_ha(soil: SoilType, gypsum_per_meq: Quantity | None) -> dict[str, float]:
    """Give what is spread where the soil is ripped, item -> t/ha; items without an amount are absent."""
    if soil.reclaim is not None and gypsum_per_meq is None:
        raise SettingsError(what="gypsum_per_meq is missing", where="[prices]", do="give it in prices.overrides")
    return {item: rate.value for item, rate in soil.spread(gypsum_per_meq).items()}
