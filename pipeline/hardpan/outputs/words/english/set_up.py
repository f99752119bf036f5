"""How to set tractor and ripper up before the first run, in words."""

from collections.abc import Mapping
from dataclasses import dataclass

from hardpan.core.said import Measure
from hardpan.outputs.words.units import Units
from hardpan.records.advice import Step, Topic
from hardpan.records.catalog import Catalog

LEVEL = "Level the frame lengthwise and across at working depth, so that every tine runs equally deep."


@dataclass(frozen=True, slots=True, kw_only=True)
class EnglishSetUp:
    """Advice on ballast, tines and fittings."""

    units: Units
    catalog: Catalog

    def step(self, step: Step) -> tuple[str, str]:
        """Topic and advice of one thing to set before the first run."""
        tell = {
            Topic.BALLAST: self._ballast,
            Topic.BALANCE: self._balance,
            Topic.SLIP: self._slip,
            Topic.TINES: self._tines,
            Topic.FITTINGS: self._fittings,
            Topic.LEADING: self._leading,
            Topic.DIG: self._dig,
        }
        topic = f"dig behind the {self.catalog.setups[step.setup].says}" if step.topic is Topic.DIG else step.topic
        return topic, tell[step.topic](step.figures) if step.topic in tell else LEVEL

    def _balance(self, number: Mapping[str, float]) -> str:
        low, high = number["low"], number["high"]
        share = f"{low:.0%} to {high:.0%}" if high > low else f"{low:.0%}"
        return f"With the ripper in the ground {share} of the weight sits at the front."

    def _slip(self, number: Mapping[str, float]) -> str:
        much = f"above {number['usual']:.0%} slow down, add weight or go shallower"
        return f"Expect up to {number['slip']:.0%} slip, in zone {number['zone']:.0f}; {much}."

    def _tines(self, number: Mapping[str, float]) -> str:
        every = f"Work every zone with {number['tines']:.0f} of the {number['all_tines']:.0f} tines"
        return f"{every}: take the outer ones off on both sides, so that the pull stays straight."

    def _fittings(self, number: Mapping[str, float]) -> str:
        times = "once" if number["changes"] == 1 else f"{number['changes']:.0f} times"
        takes = f"about {self.units.hours(number['hours'])} and {self.units.money(number['money'])} of labour"
        return f"Work all zones of one set-up before the next: fittings change {times}, {takes} beside the work."

    def _leading(self, number: Mapping[str, float]) -> str:
        run = self.units.depths(number["low_mm"], number["high_mm"])
        return f"Run them in line at {number['share']:.0%} of the working depth, {run}."

    def _dig(self, number: Mapping[str, float]) -> str:
        high = self.units.depth(number["ridge_mm"])
        ridge = f"expect a ridge of unbroken soil, about {high} high, midway between them"
        return f"Dig across two tine lines after the first run: {ridge}."

    def _ballast(self, number: Mapping[str, float]) -> str:
        if not number:
            return "No usual weight is on file for this drive: follow the tractor's manual."
        mass, ratio = self.units.write(number["mass_kg"], Measure.MASS), number["mass_kg"] / number["pto_hp"]
        low, high = number["low"], number["high"]
        verdict = "within" if low <= ratio <= high else ("below" if ratio < low else "above")
        each = self.units.write(ratio, Measure.MASS)
        usual = f"{self.units.write(low, Measure.MASS, bare=True)} to {self.units.write(high, Measure.MASS)}"
        return f"{mass} on {number['pto_hp']:.0f} PTO horsepower is {each} a horsepower, {verdict} the usual {usual}."
