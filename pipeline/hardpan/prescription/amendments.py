"""What is said of lime and gypsum: the amount where one is given, else what is missing to give one."""

from hardpan.records.catalog import Catalog
from hardpan.records.quantity import Quantity
from hardpan.records.soils import SoilType

MISSING = {
    "lime": "the recovery table of the region and the neutralising value of the lime",
    "gypsum": "the exchange capacity (meq/100 g), the exchangeable sodium aimed at and the depth to reclaim",
}
"""What a rate rests on that no core file holds."""


def spreading_text(item: str, soil_type: str, catalog: Catalog, *, ripped: bool) -> tuple[str, bool]:
    """Give the amount on a soil type with its range and source, or what is missing, and whether an amount is given."""
    soil = catalog.soils[soil_type]
    rate = soil.spread(catalog.prices.gypsum_per_meq).get(item)
    if rate is None:
        option = f'soil.types."{soil_type}".{item}'
        return f"No {item} is priced: a rate needs {MISSING[item]}; ask the agronomist and give it as {option}.", False
    text = f"Spread {_amount(rate)} of {item} before ripping ({_basis(item, soil, rate)})."
    return (text if ripped else f"{text} Nothing is priced while the ground is left."), True


def _amount(rate: Quantity) -> str:
    low, high = rate.span
    return f"{rate.value:.1f} t/ha" + (f" ({low:.1f} to {high:.1f})" if high > low else "")


def _basis(item: str, soil: SoilType, rate: Quantity) -> str:
    if item == "gypsum" and soil.reclaim is not None:
        test = soil.reclaim
        return (
            f"{rate.source}: exchangeable sodium {test.esp.value:g} to {test.target_esp.value:g} %, "
            f"{test.exchange_capacity.value:g} meq/100 g, {test.depth.value:g} mm, field factor "
            f"{test.field_factor.value:g}; the chemistry of reclaiming, in how many seasons is the agronomist's to say"
        )
    return "the rate you gave" if rate.source == "user" else rate.source
