"""What the page that compares two results says."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.past import CAUSES, Comparison, What

LABELS = {
    "head": "What changed",
    "title": "{before} and {after} compared",
    "causes": "What was put in differently",
    "causes_caption": "From the records of both runs; files by the first signs of their digests.",
    "changes": "What came of it",
    "changes_caption": "After less before; the range holds the change with 90 % probability where it is uncertain.",
    "what": "What",
    "where": "Where",
    "before": "Before",
    "after": "After",
    "change": "Change",
    "range": "Range",
    "difference": "Change of the pan's bottom, {unit}; pale where it is within its own 90 % range",
    "doubts": "How to read it",
    "leave": "leave unripped",
    "map": "Working depths: {which}",
}
"""Labels, captions and headings of the page."""

KINDS = {
    What.VERSION: "version",
    What.INPUT: "input file",
    What.SETTING: "setting",
    What.READINGS: "insertions",
    What.MAP: "mean of the map",
    What.ZONES: "number of zones",
    What.DEPTH: "area at a depth",
    What.MOVED: "area whose depth changed",
    What.MONEY: "money",
    What.WORK: "work",
}
"""Kinds of change."""

PLACES = {
    "pan_probability": "chance of a pan",
    "pan_top_mm": "top of the pan",
    "pan_bottom_mm": "bottom of the pan",
    "peak_kpa": "peak of the pan",
    "breach_probability": "chance of getting through the pan",
    "litres": "fuel",
}
"""Maps whose means are compared, and sums whose name in the table is a unit."""

PAIRED = (
    "Ranges of money are those of the difference draw by draw: both runs met the same readings and the same chance."
)
APART = (
    "Ranges of money are as wide as if the two runs had nothing in common: as far as they share readings and draws, "
    "the true ranges are narrower."
)
"""How wide the ranges of money are."""

MAPS_APART = "The range of the map's change is as wide as if the errors of the two maps had nothing in common."
MAPS_TOGETHER = (
    "The range of the map's change counts that the errors of the two maps go together: their correlation is {r:.2f} at "
    "the insertions that both results have, each held against its forecast from all other sites."
)
"""How wide the range of the map's change is."""

_MOST_CAUSES = 3
"""Named in the headline."""


@dataclass(frozen=True, slots=True)
class EnglishComparison:
    """Sentences and labels of a comparison."""

    units: Units

    def label(self, key: str, **parts: object) -> str:
        """A label, caption or heading."""
        return LABELS[key].format(**parts)

    def kind(self, what: str) -> str:
        """A kind of change."""
        return KINDS[What(what)]

    def value(self, value: object) -> str:
        """A value before or after."""
        if isinstance(value, bool) or not isinstance(value, int | float | np.floating):
            return MISSING if value is None or value == "" else str(value)
        return self.units.significant(float(value), 4) if np.isfinite(value) else MISSING

    def where(self, row: Mapping[Hashable, Any]) -> str:
        """What a change is a change of."""
        where = str(row["where"])
        if row["what"] == What.DEPTH:
            depth_mm = float(where.removesuffix(" mm"))
            return self.units.depth(depth_mm) if depth_mm > 0 else LABELS["leave"]
        return PLACES.get(where, where)

    def amount(self, row: Mapping[Hashable, Any], value: float) -> str:
        """A value of a change in the reader's units."""
        kind, where, units = What(row["what"]), str(row["where"]), self.units
        if kind in {What.DEPTH, What.MOVED}:
            return units.area(value)
        if kind is What.MONEY:
            return units.money(value)
        if kind is What.WORK:
            return units.hours(value) if where == "hours" else units.fuel(value)
        if where.endswith("_mm"):
            return units.depth(value)
        if where.endswith("_probability"):
            return units.share(value)
        return units.strength(value) if where.endswith("_kpa") else self.value(value)

    def span(self, row: Mapping[Hashable, Any]) -> str:
        """Range of a change."""
        if not np.isfinite(row["low"]):
            return ""
        return f"{self.amount(row, row['low'])} to {self.amount(row, row['high'])}"

    def headline(self, found: Comparison) -> str:
        """The answer in one or two sentences."""
        if found.rows.empty:
            return "Nothing changed: the two results are equal."
        causes = found.rows[found.rows["what"].isin(CAUSES)]
        rows = found.rows.set_index(["what", "where"])["change"].to_dict()
        told = [self._because(list(causes["where"]))]
        moved, net = rows.get((What.MOVED, "all"), 0.0), rows.get((What.MONEY, "net return"))
        told.append(f"The depth changed on {self.units.area(moved)}" if moved else "The depth changed nowhere")
        if net is not None:
            told[-1] += f", and the expected return by {'+' if net > 0 else ''}{self.units.money(net)}"
        return " ".join(f"{one}." for one in told)

    def _because(self, causes: Sequence[str]) -> str:
        if not causes:
            return "The same was put in, and yet the results differ: one was made by other code or changed since"
        named, more = ", ".join(causes[:_MOST_CAUSES]), len(causes) - _MOST_CAUSES
        return f"Put in differently: {named}" + (f" and {more} more" if more > 0 else "")

    def doubts(self, found: Comparison) -> Sequence[str]:
        """What limits the comparison."""
        told = [
            "Where several things were put in differently, the changes are those of all of them together: run once for "
            "each to tell them apart.",
            PAIRED if found.paired else APART,
            MAPS_TOGETHER.format(r=found.error_correlation) if found.error_correlation > 0 else MAPS_APART,
        ]
        if found.difference is None:
            told.append("The two maps are not on one grid, or one was not written: they are not compared cell by cell.")
        return told
