"""What the page of a trial says."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hardpan.core.said import Measure, percent
from hardpan.outputs.words.scales import Scale
from hardpan.outputs.words.units import N, Units
from hardpan.records.trial import UNEXPECTED, Method, Rule, Treatment, TrialResult

LABELS = {
    "head": "Trial",
    "title": "Trial {name}",
    "no_name": "of ripped and unripped strips",
    "effects": "What ripping gave",
    "effects_caption": "Yield of ripped strips less that of unripped ones, {unit}; {level} interval.",
    "group": "Zone",
    "depth": "Depth",
    "effect": "Effect",
    "interval": "Interval",
    "paired": "Pairs alone",
    "pooled": "Partly pooled",
    "strips": "Strips",
    "points": "Points",
    "all": "all",
    "depths": "By working depth",
    "money": "Did it pay",
    "money_caption": (
        "What the pass cost and what came back, {unit}. All ripped ground counts, tried or not: ground without strips "
        "by the gain of its soil type."
    ),
    "money_group": "Zone",
    "cost": "Cost",
    "first": "After this harvest",
    "first_paid": "Paid already",
    "net": "Over the seasons it lasts",
    "net_range": "Range",
    "paid": "Chance it pays",
    "response": "What the next plan should reckon with",
    "response_caption": (
        "Gain of the first season of the reference rip in the reference pan, {unit}, before the harvest and after it. "
        "response.toml holds the latter: name it as response in the [soil] table of the next configuration."
    ),
    "soil_type": "Soil type",
    "prior": "Before",
    "posterior": "After",
    "agrees": "Chance of a harvest so far from what was expected",
    "doubts": "What could be wrong",
    "cleaning": "Points taken out",
    "cleaning_caption": "Rules in the order they were applied; none looks at the treatment.",
    "rule": "Rule",
    "taken": "Points",
    "means": "Strips",
    "means_caption": "Mean yield of each strip, {unit}.",
    "strip": "Strip",
    "treatment": "Treatment",
    "pair": "Pair",
    "mean": "Mean",
    "how": "How it was worked out",
    "map": "Strips and the yield of their points: {alt}",
    "ripped": "ripped",
    "unripped": "unripped",
    "colour": "yield, {unit}",
    "chart": "Effect of ripping with its {level} interval, all strips and each zone",
    "axis": "yield gained, {unit}",
    "issue": "What",
    "done": "What was done",
}
"""Labels, captions and headings of the page."""

RULES = {
    Rule.UNREADABLE: "no place or no yield",
    Rule.DELAYED: "end of a pass: its grain was weighed after the last point",
    Rule.NOT_ABOVE_ZERO: "yield of zero or less",
    Rule.PASS_START: "start of a pass: the machine was still filling",
    Rule.PASS_END: "end of a pass: the machine was running empty",
    Rule.SPEED: "too slow or too fast",
    Rule.SPEED_STEP: "speed changed suddenly",
    Rule.SWATH: "only a part of the header cut",
    Rule.MOISTURE: "grain too dry or too wet to be true",
    Rule.GLOBAL: "far from all other yields",
    Rule.LOCAL: "far from the yields around",
    Rule.OFF_STRIP: "not on a strip",
    Rule.STRIP_END: "at the end of a strip",
}
"""Rules of cleaning."""


@dataclass(frozen=True, slots=True)
class EnglishTrial:
    """Sentences and labels of a trial, in one reader's units."""

    units: Units
    weighed: bool
    """Yields are in t/ha; else in a unit that is not known."""

    def label(self, key: str, **parts: object) -> str:
        """A label, caption or heading."""
        return LABELS[key].format(**parts)

    @property
    def unit(self) -> str:
        """Unit of yield."""
        return self._scale.unit if self.weighed else "as given"

    @property
    def _scale(self) -> Scale:
        return self.units.scale(Measure.YIELD)

    def rule(self, rule: str) -> str:
        """A rule of cleaning."""
        return RULES[Rule(rule)]

    def shown(self, value: N) -> N:
        """Yields in the unit that is written."""
        return value / self._scale.size if self.weighed else value

    def number(self, value: float, *, sign: bool = False) -> str:
        """A yield or a difference of yields, three digits of it."""
        told = self.shown(value)
        if self.weighed and self.units.us:
            text = self.units.figure(told, self._scale.decimals or 0)
        else:
            text = self.units.significant(told, 3) if abs(told) >= 1 else self.units.figure(told, 2)
        return f"+{text}" if sign and value > 0 else text

    def interval(self, low: float, high: float) -> str:
        """Ends of an interval."""
        return f"{self.number(low)} to {self.number(high)}"

    def chance(self, share: float) -> str:
        """A chance in per cent, never quite none or all."""
        return self.units.share(float(np.clip(share, 0.01, 0.99)))

    def headline(self, result: TrialResult) -> str:
        """The answer in one or two sentences."""
        row = result.effects[(result.effects["group"] == "all") & (result.effects["method"] == Method.SPATIAL)].iloc[0]
        unit = f" {self.unit}" if self.weighed else ""
        told = (
            f"Ripping gave {self.number(row['effect'], sign=True)}{unit} "
            f"({percent(row['level'])} interval {self.interval(row['low'], row['high'])}), "
            f"{self._share(row['effect'], result.mean_unripped)} of what unripped strips yielded"
        )
        told += self._certainty(row["low"], row["high"])
        return f"{told} {self._paid(result)}".strip()

    def _certainty(self, low: float, high: float) -> str:
        if low > 0:
            return "."
        if high < 0:
            return ": it cost yield."
        return "; that cannot be told from nothing."

    def _paid(self, result: TrialResult) -> str:
        if result.payback is None:
            return ""
        row = result.payback.table.iloc[0]
        verb = "is expected to return" if row["net_per_ha"] >= 0 else "is expected to lose"
        return (
            f"Over the seasons it lasts the pass {verb} {self.units.per_area(abs(row['net_per_ha']))} (range "
            f"{self.units.span(row['net_low_per_ha'], row['net_high_per_ha'])}); the chance that it pays is "
            f"{self.chance(row['paid'])}, and {self.chance(row['first_paid'])} that this harvest alone paid for it."
        )

    def _share(self, effect: float, mean: float) -> str:
        return f"{self.units.figure(100 * effect / mean, 0)} %" if mean else "an unknown share"

    def map(self, result: TrialResult) -> str:
        """The map in words."""
        count = result.means["treatment"].value_counts()
        return f"{count[Treatment.RIPPED]} ripped and {count[Treatment.UNRIPPED]} unripped strips."

    def doubts(self, result: TrialResult) -> Sequence[str]:
        """What limits the answer."""
        strips, pairs = len(result.means), int((result.means["pair"].unique() > 0).sum())
        told = [
            f"The answer rests on {strips} strips in {pairs} pairs: what differs between strips, not between points, "
            "says how sure it is."
        ]
        if result.payback is not None:
            told.append(
                "It is one harvest. How a season ends can turn the gain of loose ground into a loss: strips harvested "
                "again next year say more than more strips would have."
            )
        if result.delay_s:
            told.append(f"The yields were moved back by {result.delay_s:g} s, at which neighbouring passes agree best.")
        return [*told, *(f"{self._sentence(issue.what)} {self._sentence(issue.done)}" for issue in result.issues)]

    def method(self, result: TrialResult) -> Sequence[str]:
        """How the effects were come by."""
        model, units = result.model, self.units
        total = model["sill"] + model["noise"] + model["strip_variance"]
        shares = {
            name: units.share(model[name] / total) if total else units.share(0.0)
            for name in ("sill", "noise", "strip_variance")
        }
        reach = units.write(model["range_m"], Measure.DISTANCE, 0)
        return (
            "Effects come from a linear mixed model of stretches of strips: zone and ripping, an error of each strip, "
            "a field that is alike over short distances, and noise, fitted by restricted maximum likelihood. Degrees "
            "of freedom are Satterthwaite's, and no fewer than there are between strips.",
            f"Of the variance that ripping and zones leave, {shares['sill']} is the field (range {reach}), "
            f"{shares['strip_variance']} is that of strips, {shares['noise']} is noise.",
            "Student's test takes each pair as one difference and asks nothing of the ground between: it is the plain "
            "answer beside it.",
            "Partly pooled: with few strips a zone's own effect is drawn to the mean of the zones by as much as they "
            "differ less than their errors.",
        )

    def response_note(self, row: Mapping[Hashable, Any]) -> str:
        """Where a gain in response.toml comes from."""
        zones = "1 zone" if row["effects"] == 1 else f"{row['effects']} zones"
        return f"trial of strips in {zones}; before it {row['prior']:g} ({row['prior_low']:g} to {row['prior_high']:g})"

    def response_head(self, name: str, result: TrialResult) -> Sequence[str]:
        """First lines of response.toml."""
        lines = [f"Response of soil types to ripping, from the trial {name}".strip() + "."]
        if len(result.response):
            return [
                *lines,
                'Name this file in the next configuration: [soil] response = "response.toml". A gain that stands there',
                "in [soil.types] goes before the one of this file: take it out.",
            ]
        told = [self._sentence(issue.what) for issue in result.issues if issue.code == UNEXPECTED]
        why = told or ["The trial names no run, its yields are not in t/ha, or no strip lies in a ripped zone."]
        return [*lines, f"Nothing follows. {why[0]}"]

    def _sentence(self, text: str) -> str:
        told = self.units.say(text)
        return f"{told[:1].upper()}{told[1:].rstrip('.')}."
