"""What the decision table asks for, how to set up before the first run, and what the season's weather says."""

import math
from calendar import month_abbr
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

import pandas as pd

from hardpan.core.said import Measure, marked
from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.advice import Condition, Met, Spread, Step, Topic
from hardpan.records.catalog import Catalog
from hardpan.records.rules import Rule
from hardpan.records.weather import Outlook

FACTS = {
    "ph_0_100": "pH in {0-100 mm}",
    "ph_100_200": "pH in {100-200 mm}",
    "ph_200_300": "pH in {200-300 mm}",
    "ph_subsoil": "lowest pH in {100-300 mm}",
    "repellence_med": "MED",
    "clay_depth_mm": "depth to clay",
    "clay_pct": "clay",
    "esp_pct": "exchangeable sodium",
    "esp_depth_mm": "depth of the sodium sample",
    "gravel_pct": "gravel",
    "carbonate_pct": "carbonate",
    "sowing_depth_mm": "sowing depth",
    "cover_pct": "ground cover",
    "pan_probability": "chance of a pan",
}
"""Facts of the decision table; one that is left out speaks for itself in the rule."""

MEASURES = {**FACTS, "ph_subsoil": "pH in {100-300 mm}"}
"""What to measure where a fact is missing."""

FACT_UNITS = {"clay_pct": " %", "esp_pct": " %", "gravel_pct": " %", "carbonate_pct": " %", "cover_pct": " %"}
FACT_UNITS |= {"repellence_med": " mol/L"}
"""Units that are the same for every reader."""

RESTS_ON = {
    "lime": "the recovery table of the region and the neutralising value of the lime",
    "gypsum": "the exchange capacity (meq/100 g), the exchangeable sodium aimed at and the depth to reclaim",
}
"""What a rate rests on that no core file holds."""

LEVEL = "Level the frame lengthwise and across at working depth, so that every tine runs equally deep."


@dataclass(frozen=True, slots=True)
class EnglishSetUp:
    """Sentences on rules and amounts to spread, and advice on ballast, tines and fittings."""

    units: Units
    catalog: Catalog

    def met(self, condition: Condition) -> str:
        """Whether a rule is met, and by what."""
        rule = self._rule(condition)
        if rule is None:
            return "yes: the soil type has a rate"
        evidence = ", ".join([*self._values(condition), *self._cores(condition), *self._near(condition)])
        says = self.units.say(marked(rule.says))
        return f"{condition.met}: {says} ({evidence})" if evidence else f"{condition.met}: {says}"

    def advice(self, condition: Condition, *, cab: bool = False) -> str:
        """What to do; for the cab without what is settled at the desk, "" where nothing is left."""
        rule = self._rule(condition)
        if rule is not None and condition.met is Met.UNKNOWN:
            missing = (self.units.say(marked(MEASURES.get(name, name))) for name in condition.missing)
            return f"Measure {' and '.join(missing)} to know."
        if rule is not None and condition.met is Met.NEAR:
            return "Take more cores: a little more either way and another rule holds."
        said = [] if rule is None else [rule.advice, rule.advice_with.get(condition.setup, "")]
        texts = [self.units.say(marked(text)) for text in said if text]
        if condition.spread is not None and not (cab and condition.spread.rate is None):
            texts.append(self._spread(condition.spread))
        return " ".join(text for text in texts if text)

    def cautions(self, conditions: Sequence[Condition]) -> Sequence[str]:
        """What is to be read first where rules are met on ground that is ripped, each sentence once."""
        met = {one.constraint for one in conditions if one.met is Met.YES}
        return [
            self.units.say(marked(rule.caution))
            for rule in self.catalog.rules
            if rule.caution and rule.constraint in met
        ]

    def constraint(self, condition: Condition) -> str:
        """Name of what a condition is about."""
        return condition.constraint or ("" if condition.spread is None else condition.spread.item)

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

    def _rule(self, condition: Condition) -> Rule | None:
        return {rule.constraint: rule for rule in self.catalog.rules}.get(condition.constraint)

    def _near(self, condition: Condition) -> list[str]:
        """How sure a condition is, where the cores leave that open."""
        near = self.catalog.lab.chance["near"].value
        open_still = condition.met in {Met.YES, Met.NEAR} and near <= condition.chance <= 1.0 - near
        return [f"near the limit, holds with a chance of {self.units.share(condition.chance)}"] if open_still else []

    def _values(self, condition: Condition) -> list[str]:
        return [self._fact(name, value) for name, value in condition.known.items() if name in FACTS]

    def _fact(self, name: str, value: float) -> str:
        if name == "clay_depth_mm" and math.isinf(value):
            return "no clay in reach"
        says = self.units.say(marked(FACTS[name]))
        if name == "pan_probability":
            return f"{says} {self.units.share(value)}"
        if name.endswith("_mm"):
            return f"{says} {self.units.rounded(value, Measure.DEPTH)}"
        return f"{says} {value:.3g}{FACT_UNITS.get(name, '')}"

    def _cores(self, condition: Condition) -> list[str]:
        """Where the measured facts come from; nothing where the rule reads none."""
        if condition.cores is None:
            return []
        if condition.cores == 0:
            return ["no core"]
        where = f"of {condition.cores_of}" if condition.cores_of else "in the zone"
        return [f"{condition.cores} core{'s' if condition.cores > 1 else ''} {where}"]

    def _spread(self, spread: Spread) -> str:
        """The amount on a soil type with its range and source, or what is missing to give one."""
        if spread.rate is None:
            option = f'soil.types."{spread.soil_type}".{spread.item}'
            rests = f"a rate needs {RESTS_ON[spread.item]}; ask the agronomist and give it as {option}"
            return f"No {spread.item} is priced: {rests}."
        low, high = (self.units.write(end, Measure.YIELD, 1, bare=True) for end in spread.rate.span)
        amount = self.units.write(spread.rate.value, Measure.YIELD, 1)
        amount += f" ({low} to {high})" if spread.rate.span[1] > spread.rate.span[0] else ""
        text = f"Spread {amount} of {spread.item} before ripping ({self._basis(spread)})."
        return text if spread.ripped else f"{text} Nothing is priced while the ground is left."

    def _basis(self, spread: Spread) -> str:
        test = self.catalog.soils[spread.soil_type].reclaim
        source = "" if spread.rate is None else spread.rate.source
        if spread.item == "gypsum" and test is not None:
            depth = self.units.write(test.depth.value, Measure.DEPTH, None)
            return (
                f"{source}: exchangeable sodium {test.esp.value:g} to {test.target_esp.value:g} %, "
                f"{test.exchange_capacity.value:g} meq/100 g, {depth}, field factor {test.field_factor.value:g}; "
                "the chemistry of reclaiming, in how many seasons is the agronomist's to say"
            )
        return "the rate you gave" if source == "user" else source

    def _balance(self, number: Mapping[str, float]) -> str:
        low, high = number["low"], number["high"]
        share = f"{100.0 * low:.0f} to {self.units.share(high)}" if high > low else self.units.share(low)
        return f"With the ripper in the ground {share} of the weight sits at the front."

    def _slip(self, number: Mapping[str, float]) -> str:
        much = f"above {self.units.share(number['usual'])} slow down, add weight or go shallower"
        return f"Expect up to {self.units.share(number['slip'])} slip, in zone {number['zone']:.0f}; {much}."

    def _tines(self, number: Mapping[str, float]) -> str:
        every = f"Work every zone with {number['tines']:.0f} of the {number['all_tines']:.0f} tines"
        return f"{every}: take the outer ones off on both sides, so that the pull stays straight."

    def _fittings(self, number: Mapping[str, float]) -> str:
        times = "once" if number["changes"] == 1 else f"{number['changes']:.0f} times"
        takes = f"about {self.units.hours(number['hours'])} and {self.units.money(number['money'])} of labour"
        return f"Work all zones of one set-up before the next: fittings change {times}, {takes} beside the work."

    def _leading(self, number: Mapping[str, float]) -> str:
        run = self.units.depths(number["low_mm"], number["high_mm"])
        return f"Run them in line at {self.units.share(number['share'])} of the working depth, {run}."

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


@dataclass(frozen=True, slots=True)
class EnglishWeather:
    """The weather in the units of one reader."""

    units: Units

    def finishing(self, outlook: Outlook | None) -> str:
        """Whether the days left are enough for the plan, "" where no years of weather tell."""
        if outlook is None or outlook.fit is None:
            return ""
        found, years = outlook.finishing, len(outlook.fit.years)
        if found is None:
            return "By the days of season.dry_on and season.finish_by the season of ripping is over."
        days = f"{found.first.day} {found.first:%b} to {found.last.day} {found.last:%b}"
        told = (
            f"The plan takes {found.days:.1f} fit days. From {days} its ground was fit on {found.half:.0f} days "
            f"or more in half of {years} years and on {found.most:.0f} or more in eight years of ten: enough to finish "
            f"in {self.units.share(found.chance)} of the years."
        )
        if not isfinite(found.ha_per_day):
            return told
        area = self.units.write(found.ha_per_day, Measure.AREA, 1)
        return f"{told} To be done in eight years of ten it takes {area} a fit day."

    def fit_table(self, outlook: Outlook | None) -> pd.DataFrame:
        """Fit days of each month, one column a soil type: what half of the years have or surpass, and eight in ten."""
        if outlook is None or outlook.fit is None:
            return pd.DataFrame()
        fit, months = outlook.fit, outlook.months
        told: dict[str, list[str]] = {}
        for name, depth_mm in zip(fit.soil_types, fit.depth_mm, strict=True):
            rows = months[months["soil_type"] == name]
            told["month"] = [month_abbr[month] for month in rows["month"]]
            pairs = zip(rows["half"], rows["most"], strict=True)
            told[f"{name}, {self.units.depth(depth_mm)}"] = [f"{half:.0f} / {most:.0f}" for half, most in pairs]
        return pd.DataFrame(told)

    def weeks(self, outlook: Outlook | None) -> pd.DataFrame:
        """Depth each soil type was moist to on the evenings of the past weeks, one column a week."""
        if outlook is None:
            return pd.DataFrame()
        weeks = outlook.water.weeks
        depths = self._depths(weeks["moist_mm"])
        table = weeks.assign(told=[f"{one:,.0f}" if isfinite(one) else MISSING for one in depths])
        wide = table.pivot_table(index="soil_type", columns="day", values="told", aggfunc="first", sort=False)
        wide = wide.rename(columns=lambda day: f"{day.day} {day:%b}")
        return wide.reset_index(names="soil type")

    def _depths(self, depths_mm: pd.Series) -> pd.Series:
        return depths_mm / self.units.of_tables.scale(Measure.DEPTH).size if self.units.us else depths_mm
