"""All shipped tables with the numbers of one configuration."""

from collections.abc import Mapping
from typing import Literal

from hardpan.core.settings import Settings
from hardpan.records.machines import Effort, Ripper, SetUp, Tractor
from hardpan.records.prices import Crop, PriceTable
from hardpan.records.quantity import Quantity
from hardpan.records.rules import Lab, Rule
from hardpan.records.soils import Response, SoilType
from hardpan.records.weather import Balance, SoilWater


class Source(Settings):
    """An entry of references.toml."""

    authors: str
    year: int | str
    title: str
    where: str
    standing: Literal["read", "read in part", "abstract", "from memory", "computed", "practice", "design"]


class Replaced(Settings):
    """A shipped number and what a user gave in its place."""

    key: str
    """Table, entry and key, with dots between."""
    shipped: Quantity | float
    """A bare number is a count, or an end of an interval of the decision table."""
    own: Quantity | float


class Catalog(Settings):
    """All shipped tables, with the user's own numbers in place of those they replace."""

    soils: Mapping[str, SoilType]
    tractor_name: str
    tractor: Tractor
    ripper_name: str
    ripper: Ripper
    setups: Mapping[str, SetUp]
    """Those the ripper can be fitted with."""
    rules: tuple[Rule, ...]
    lab: Lab
    effort: Effort
    response: Response
    reference_setup: SetUp
    """Set-up of the rip that gains were measured with."""
    prices: PriceTable
    crops: Mapping[str, Crop]
    """Those of the rotation."""
    rotation: tuple[str, ...]
    """Names of the crops of the seasons after ripping in turn, the next one first."""
    available_water: Mapping[str, Quantity]
    """Plant-available water by texture, mm/cm."""
    balance: Balance
    soil_water: Mapping[str, SoilWater] = {}
    """What the season's weather says of each soil type; empty where there is none."""
    references: Mapping[str, Source]
    replaced: tuple[Replaced, ...] = ()
    """Shipped numbers that the user replaced, by key."""

    @property
    def crop(self) -> Crop:
        """The next crop."""
        return self.crops[self.rotation[0]]
