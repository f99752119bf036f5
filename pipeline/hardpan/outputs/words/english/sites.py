"""What is said of the places to probe."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hardpan.core.said import Measure
from hardpan.outputs.words.units import Units
from hardpan.records.probing import Chosen, NumberFrom, SitePlan

LABELS: Mapping[str, str] = {
    "title": "Where to probe: {name}",
    "head": "Where to probe in",
    "map": "Map of the sites, numbered in walking order",
    "table": "Sites",
    "caption": "One row a site, in walking order",
    "order": "Stop",
    "site": "Site",
    "insertions": "Insertions",
    "soil_type": "Soil type",
    "why": "Why here",
    "worth": "Worth, {unit}",
    "longitude": "Longitude",
    "latitude": "Latitude",
    "doubts": "What it rests on, and what could be wrong",
    "before": "Before you walk",
    "remarks": "Remarks",
    "remarks_caption": "What was dropped, repaired or assumed",
    "origin": "Where this comes from",
    "settings": "Settings as used",
    "footer": "hardpan {version}, {started}. Positions were worked out in {crs}.",
    "gate": "gate",
    "keep_out": "keep out",
    "probed": "probed already",
    "written": "{n} files in {folder}",
}

BEFORE = (
    "Probe when the profile is moist all through, a day or two after soaking rain: dry soil reads hard everywhere.",
    "All insertions of a site within a few steps, off wheel tracks; write down every stop, and how deep.",
    "A probe is a rod in the ground: keep off buried services, and ask where they lie before you walk.",
)
"""The first is of the extension sheets on cone index that the README cites; the rest is common practice."""


@dataclass(frozen=True, slots=True)
class EnglishSites:
    """Sentences on where to probe."""

    units: Units

    def label(self, key: str, **parts: object) -> str:
        """A label, caption or heading."""
        return LABELS[key].format(**parts)

    def headline(self, plan: SitePlan, area_ha: float) -> str:
        """How many sites, what they take, and how well they will tell the pan."""
        table, units = plan.sites, self.units
        n, insertions = len(table), int(table["insertions"].sum())
        more = "more " if len(plan.probed) else ""
        head = (
            f"Probe {n} {more}site{'' if n == 1 else 's'} with {insertions} insertions in all on {units.area(area_ha)}"
        )
        walk = f"{self._far(plan.walk.length_m)} to walk, about {units.hours(plan.walk.hours)}"
        return f"{head}: {walk}. {self._expected(plan)}"

    def _expected(self, plan: SitePlan) -> str:
        """What the sites will bring: money to a decision that is open, or a map where there is none yet."""
        units, forecast, gain = self.units, plan.forecast, plan.gain
        if gain is not None:
            brings = f"{units.money(gain.worth)} to the choice of depth and set-up"
            if gain.pays:
                return f"The answers are expected to bring {brings}, for about {units.money(gain.cost)} of time."
            return (
                f"It does not pay: the answers are expected to bring {brings}, and their time costs about "
                f"{units.money(gain.cost)}."
            )
        if forecast is None:
            return ""
        span = units.depths(forecast.best_mm, forecast.worst_mm)
        return (
            f"Expect to know the pan's bottom to {units.depth(forecast.sd_mm)} (standard deviation; {span}, as the "
            "reach of alike ground is not known but taken as usual)."
        )

    def again(self, plan: SitePlan | None) -> str:
        """What probing again would bring to a plan; None: nothing is known of that."""
        if plan is None or plan.gain is None:
            return ""
        units, gain, sites = self.units, plan.gain, len(plan.sites)
        marked = f"{sites} further site{'' if sites == 1 else 's'}, marked on the map,"
        if not gain.pays:
            return (
                f"Probing again does not pay: the best site is expected to bring {units.money(gain.worth)} to the "
                f"choice of depth and set-up, and costs {units.money(gain.cost)} of time."
            )
        return (
            f"{marked} {'is' if sites == 1 else 'are'} expected to bring {units.money(gain.worth)} to the choice of "
            f"depth and set-up for {units.money(gain.cost)} of time; knowing the pan everywhere would bring "
            f"{units.money(gain.perfect)}. The command hardpan sites writes them for a receiver."
        )

    def why(self, row: Mapping[str, object]) -> str:
        """Why a site stands where it does; `row` of `SitePlan.sites`."""
        if row["chosen"] == Chosen.WORTH:
            worth, cost, sd_mm = (float(row[name]) for name in ("worth", "cost", "sd_mm"))  # type: ignore[arg-type]
            return (
                f"Expected to bring {self.units.money(worth)} for {self.units.money(cost)} of time; the map knows the "
                f"pan's bottom here to {self.units.depth(sd_mm)}, on {row['soil_type']}."
            )
        ground = f"the {self.units.area(float(row['stands_ha']))} nearest to it"  # type: ignore[arg-type]
        if row["chosen"] == Chosen.SOIL_TYPE:
            return f"One of the few on {row['soil_type']}; stands for {ground}."
        return f"In the middle of {ground}, on {row['soil_type']}."

    def number(self, plan: SitePlan) -> str:
        """What the number of sites comes from."""
        forecast, sites = plan.forecast, len(plan.sites)
        if plan.number is NumberFrom.WORTH:
            return "As many sites as are expected to bring more than they cost, and one in any case."
        if plan.number is NumberFrom.COUNT:
            return f"{sites} sites were asked for."
        if plan.number is NumberFrom.HOURS:
            return "As many sites as the hours given allow, walking included."
        aimed = self.units.depth(forecast.asked_mm if forecast else float("nan"))
        if plan.number is NumberFrom.DAY:
            return (
                f"As many sites as one day allows. A map good to {aimed} would take more: set sites.precision_mm, "
                "count or hours."
            )
        return f"The fewest sites from which a map good to {aimed} is expected."

    def doubts(self, plan: SitePlan) -> Sequence[str]:
        """What the plan rests on and does not know; the 10 m are those of [domsch2006]."""
        spacing = (
            f"The ground lies {self._far(plan.spacing_m)} from its nearest site (root mean square). What changes over "
            f"less is not seen: on a transect of one field readings {self._far(10.0)} apart were enough to follow "
            "a pan."
        )
        if plan.gain is None:
            return (
                self.number(plan),
                spacing,
                "How well the map will do is worked out with a usual scatter and range, which nobody measured here.",
                "The walk is reckoned on straight lines.",
            )
        return (
            self.number(plan),
            f"Knowing the pan everywhere would bring {self.units.money(plan.gain.perfect)} to the choice; no site can "
            "bring more.",
            "A worth is an expectation over what the pan may be like: most answers change nothing, a few change much. "
            "Each is that of the site given those chosen before it. Zones are taken to be drawn anew along the classes "
            "of like ground that they were drawn from, each with one depth. On simulated paddocks as much came back "
            "over many plans as was worked out; of a single plan it is far from sure.",
            "A rod that stops short of the bottom tells less; it is counted as telling nothing of its depth.",
            spacing,
        )

    def before(self) -> Sequence[str]:
        """What to see to before walking."""
        return BEFORE

    def _far(self, length_m: float) -> str:
        if not self.units.us and length_m >= 1000.0:
            return self.units.quantity(length_m / 1000.0, 1, "km")
        return self.units.write(length_m, Measure.DISTANCE)
