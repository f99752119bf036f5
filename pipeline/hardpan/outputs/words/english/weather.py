"""What is said of the season's weather: how deep the soil was moist, and the days it leaves for the work."""

from calendar import month_abbr
from dataclasses import dataclass
from math import isfinite

import pandas as pd

from hardpan.core.said import Measure
from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.weather import Outlook


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
            f"in {found.chance:.0%} of the years."
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
