"""The set-up decision table."""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import AfterValidator

from hardpan.core.said import marked
from hardpan.core.settings import Settings
from hardpan.records.quantity import Part, Positive, Quantity


def _marked(text: str) -> str:
    marked(text)
    return text


Marked = Annotated[str, AfterValidator(_marked)]
"""A sentence whose quantities stand in braces, as `core.said.marked` reads them."""


class Lasting(Settings):
    """A gain that does not go with the pan and outlasts the loosening."""

    gain: Quantity
    """Of the reference crop, t/ha a season."""
    seasons: Positive


class Lab(Settings):
    """How sure the measurements of cores are, and how sure is sure enough (`configs/lab.toml`)."""

    error: Mapping[str, Positive]
    """Standard deviation of one core about the mean of its ground, by measurement; left out: none."""
    chance: Mapping[Literal["forbids", "near"], Part]


class Rule(Settings):
    """One row of the set-up decision table."""

    constraint: str
    says: Marked
    """Condition in words."""
    needs: tuple[str, ...] = ()
    """Names of measurements the row reads (columns of the cores, or facts of zone and crop)."""
    when: Mapping[str, tuple[float, float]] = {}
    """Measurement to the closed interval in which the row applies; infinite ends allowed."""
    prefers: tuple[str, ...] = ()
    """Set-ups that help, best first."""
    forbids: tuple[str, ...] = ()
    gain: Mapping[str, Quantity] = {}
    """Gain with a set-up relative to breaking the pan alone, where the row is met; 1 for set-ups left out."""
    lasting: Mapping[str, Lasting] = {}
    """Gain with a set-up, where the row is met, beside that of breaking the pan."""
    rollers: bool | None = None
    """Whether the ground is rolled behind the tines where the row is met; false: it stays rough, whatever rows ask."""
    cover: bool = False
    """Whether a cover crop is sown after the pass where the row is met."""
    depth_ceiling: Literal["clay_depth_mm"] | None = None
    """"clay_depth_mm": the depth stays above the clay by the margin of hostile clay; None: no limit."""
    clay: str = ""
    """Name of that clay for people; "": hostile clay."""
    spreads: Literal["lime", "gypsum"] | None = None
    """What is spread where the row is met, at the rate that the soil type is given; None: nothing."""
    caution: Marked = ""
    """What headline and card say first where the row is met; "": nothing."""
    advice: Marked
    advice_with: Mapping[str, Marked] = {}
    """Set-up to what is advised where the zone is worked with it."""
    not_fixed: Marked = ""
    """What ripping will not fix here."""
    source: str


class After(StrEnum):
    """Work after the pass that a rule may ask for; the value is its item in the ledger."""

    ROLLING = "rolling"
    COVER = "cover crop"

    @property
    def price(self) -> str:
        """Its entry of the price table, money per ha."""
        return {After.ROLLING: "rolling_per_ha", After.COVER: "cover_crop_per_ha"}[self]


def asked_after(met: Iterable[Rule]) -> tuple[After, ...]:
    """Work after the pass that rules met on the same ground ask for together."""
    rules = list(met)
    rolled = any(rule.rollers for rule in rules) and not any(rule.rollers is False for rule in rules)
    asked = {After.ROLLING: rolled, After.COVER: any(rule.cover for rule in rules)}
    return tuple(work for work, wanted in asked.items() if wanted)
