"""Every shipped number a decision used, with its source and standing."""

from collections.abc import Iterator, Mapping

import pandas as pd

from hardpan.core.settings import Settings
from hardpan.records.catalog import Catalog
from hardpan.records.quantity import Quantity


def shipped_numbers(catalog: Catalog, soil_types: tuple[str, ...]) -> pd.DataFrame:
    """Give `key`, `value`, `unit`, `source`, `standing` of every number that is not the user's.

    `standing` is that of the source in references.toml, or the source itself where it is no reference ("common
    practice", "unverified", "design").
    """
    parts: dict[str, object] = {
        f"tractors.{catalog.tractor_name}": catalog.tractor,
        f"rippers.{catalog.ripper_name}": catalog.ripper,
        **{f"setups.{name}": setup for name, setup in catalog.setups.items()},
        "effort": catalog.effort,
        **{f"soils.{name}": catalog.soils[name] for name in soil_types},
        **{
            f"water.{catalog.soils[name].water_texture}": catalog.available_water[catalog.soils[name].water_texture]
            for name in soil_types
        },
        "crop": catalog.crop,
        **{f"rules.{rule.constraint}": rule for rule in catalog.rules},
        "prices": catalog.prices,
    }
    rows = [
        {
            "key": key,
            "value": number.value,
            "unit": number.unit,
            "source": number.source,
            "standing": catalog.references[number.source].standing
            if number.source in catalog.references
            else number.source,
        }
        for name, part in parts.items()
        for key, number in _numbers(name, part)
        if number.source != "user"
    ]
    return pd.DataFrame(rows, columns=["key", "value", "unit", "source", "standing"])


def _numbers(key: str, part: object) -> Iterator[tuple[str, Quantity]]:
    if isinstance(part, Quantity):
        yield key, part
    elif isinstance(part, Settings):
        for name, inner in part:
            yield from _numbers(f"{key}.{name}", inner)
    elif isinstance(part, Mapping):
        for name, inner in part.items():
            yield from _numbers(f"{key}.{name}", inner)
    elif isinstance(part, tuple):
        for number, inner in enumerate(part, start=1):
            yield from _numbers(f"{key}.{number}", inner)
