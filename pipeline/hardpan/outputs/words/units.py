"""Numbers as people read them: metric or US customary, always with their unit."""

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.said import INSIDE, Amount, Measure, Said
from hardpan.core.units import INCH_MM, KPA_PER, MM_PER, name_of, sign_of
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.scales import COMPOUND, HA_PER_ACRE, NAMED, US, Scale

N = TypeVar("N", float, Floats)

MISSING = "–"
"""Stands where there is no value: honest or absent."""

_CODE_LETTERS = 3
"""Letters of a currency's code (ISO 4217), such as that of shipped prices beside the reader's own currency."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """The units one reader is used to."""

    us: bool
    depth_unit: str
    """The display's: what the operator sees in the cab is what the report says."""
    currency: str
    """Code of the currency; amounts carry its sign where it has one."""
    plain: bool = False
    """Only characters of a keyboard: for tables, map files and the terminal."""

    @classmethod
    def of(cls, settings: OutputSettings, currency: str) -> "Units":
        """Units of the people `settings` is for."""
        return cls(us=settings.units == "us", depth_unit=settings.display_unit, currency=currency)

    @classmethod
    def of_terminal(cls, settings: OutputSettings, currency: str) -> "Units":
        """Units of the people `settings` is for on a terminal: metric ones are those of the files."""
        return replace(cls.of(settings, currency), plain=True) if settings.units == "us" else cls.of_files(currency)

    @classmethod
    def of_files(cls, currency: str) -> "Units":
        """Units of the computation, as in the columns of every table and map file."""
        return cls(us=False, depth_unit="mm", currency=currency, plain=True)

    @property
    def of_tables(self) -> "Units":
        """Units of the tables of a page: those of the computation, unless the reader is used to US units."""
        return self if self.us else replace(self, depth_unit="mm")

    @property
    def sign(self) -> str:
        """Sign of the currency."""
        return sign_of(self.currency)

    @property
    def money_name(self) -> str:
        """Currency with its sign."""
        return name_of(self.currency)

    @property
    def area_unit(self) -> str:
        """Unit of area."""
        return self.scale(Measure.AREA).unit

    @property
    def money_per_area(self) -> str:
        """Unit of money per area."""
        return f"{self.sign}/{self.area_unit}"

    @property
    def strength_unit(self) -> str:
        """Unit of cone index in charts."""
        return "psi" if self.us else "MPa"

    @property
    def ground_unit(self) -> tuple[float, str]:
        """Metres in the unit of distance on a map, and its name."""
        scale = self.scale(Measure.DISTANCE)
        return scale.size, scale.unit

    def scale(self, measure: Measure) -> Scale:
        """Unit in which a measure is written, with its size in the unit inside."""
        if measure is Measure.DEPTH:
            return Scale(self.depth_unit, MM_PER[self.depth_unit], None if self.depth_unit == "mm" else 1, trim=True)
        return US[measure] if self.us else Scale(INSIDE[measure], 1.0)

    def of_unit(self, unit: str) -> Scale:
        """Reader's unit of a number that is in `unit` inside; money keeps its currency, a share stays a share."""
        if not self.us:
            return Scale(unit, 1.0)
        if unit in NAMED:
            return self.scale(NAMED[unit])
        if unit in COMPOUND:
            return COMPOUND[unit]
        money, _, per = unit.partition("/")
        if per and (money in {self.currency, self.sign} or (len(money) == _CODE_LETTERS and money.isupper())):
            inside = self.of_unit(per)
            return Scale(f"{money}/{inside.unit}", 1.0 / inside.size)
        return Scale(unit, 1.0)

    def in_unit(self, value: N, measure: Measure) -> N:
        """Value in the unit it is written in."""
        return value / self.scale(measure).size

    def depth_of(self, depth_mm: N) -> N:
        """Depth in the display's unit."""
        return self.in_unit(depth_mm, Measure.DEPTH)

    def strength_of(self, cone_index_kpa: N) -> N:
        """Cone index in psi or MPa."""
        return cone_index_kpa / KPA_PER[self.strength_unit]

    def per_area_of(self, per_ha: N) -> N:
        """Quantity per ha, in US units per ac."""
        return per_ha * HA_PER_ACRE if self.us else per_ha

    def amount(self, amount: Amount) -> str:
        """Amount with its unit, unless a later number carries it."""
        scale = self.scale(amount.measure)
        value = amount.value / scale.size
        decimals = amount.decimals if scale.decimals is None else scale.decimals
        unit = f"{amount.sign}/{scale.unit}" if amount.sign else scale.unit
        number = self.significant(value, 6) if decimals is None else self.figure(value, decimals, trim=scale.trim)
        return self._with_unit(number, "" if amount.bare else unit)

    def say(self, text: str) -> str:
        """Text with its quantities in the reader's units, where it remembers them."""
        return text.told(self.amount) if isinstance(text, Said) else text

    def write(self, value: float, measure: Measure, decimals: int | None = 0, *, bare: bool = False) -> str:
        """Number with its unit, `MISSING` where there is none; `decimals` those of the unit inside."""
        return self.amount(Amount(value, measure, decimals, bare))

    def depth(self, depth_mm: float, *, bare: bool = False) -> str:
        """Depth, for example "45 cm"; zeros at the end dropped."""
        return self.write(depth_mm, Measure.DEPTH, bare=bare)

    def near_depth(self, depth_mm: float) -> str:
        """Depth to the nearest 5 mm."""
        return self.depth(5 * round(depth_mm / 5))

    def depths(self, low_mm: float, high_mm: float) -> str:
        """Range of depths, for example "40 to 45 cm"."""
        low, high = self.depth(low_mm, bare=True), self.depth(high_mm)
        return high if self.depth(high_mm, bare=True) == low else f"{low} to {high}"

    def rain(self, rain_mm: float) -> str:
        """Amount of rain."""
        return self.write(rain_mm, Measure.RAIN)

    def spacing(self, spacing_mm: float) -> str:
        """Distance between tines."""
        return self.quantity(spacing_mm / (INCH_MM if self.us else 1.0), 0, "in" if self.us else "mm")

    def thread(self, mm: int, *, bare: bool = False) -> str:
        """Thickness of soil rolled by hand, in mm or sixteenths of an inch."""
        if not self.us:
            return self._with_unit(str(mm), "" if bare else "mm")
        return self._with_unit(str(Fraction(round(16 * mm / INCH_MM), 16)), "" if bare else "in")

    def area(self, area_ha: float, decimals: int = 1, *, bare: bool = False) -> str:
        """Area."""
        return self.write(area_ha, Measure.AREA, decimals, bare=bare)

    def fuel(self, litres: float) -> str:
        """Volume of fuel."""
        return self.write(litres, Measure.VOLUME)

    def speed(self, speed_kmh: float) -> str:
        """Speed."""
        return self.write(speed_kmh, Measure.SPEED, 1)

    def strength(self, cone_index_kpa: float) -> str:
        """Cone index in psi or MPa."""
        return self.quantity(self.strength_of(cone_index_kpa), 0 if self.us else 1, self.strength_unit)

    def money(self, amount: float) -> str:
        """Amount of money."""
        return self.quantity(amount, 0, self.sign)

    def per_area(self, per_ha: float) -> str:
        """Money per area."""
        return self.quantity(self.per_area_of(per_ha), 0, self.money_per_area)

    def span(self, low_per_ha: float, high_per_ha: float) -> str:
        """Range of money per area without its unit."""
        if not (np.isfinite(low_per_ha) and np.isfinite(high_per_ha)):
            return MISSING
        low, high = (self.figure(self.per_area_of(end), 0) for end in (low_per_ha, high_per_ha))
        return f"{low} to {high}"

    def hours(self, hours: float) -> str:
        """Time."""
        return self.quantity(hours, 1, "h")

    def bearing(self, bearing_deg: float) -> str:
        """Bearing of a line both ways, whole degrees, for example "75°/255°"; `MISSING` where there is none."""
        if not np.isfinite(bearing_deg):
            return MISSING
        one = round(bearing_deg) % 180
        return f"{one}°/{one + 180}°"

    def share(self, value: float) -> str:
        """Share in per cent."""
        return self.quantity(100.0 * value, 0, "%")

    def quantity(self, value: float, decimals: int, unit: str, *, trim: bool = False) -> str:
        """Number with a unit, `MISSING` where there is none."""
        return self._with_unit(self.figure(value, decimals, trim=trim), unit)

    def figure(self, value: float, decimals: int, *, trim: bool = False) -> str:
        """Number with fixed decimals and thousands set apart, `MISSING` where there is none."""
        if not np.isfinite(value):
            return MISSING
        text = f"{round(value, decimals) + 0.0:,.{decimals}f}"
        text = text.rstrip("0").rstrip(".") if trim and "." in text else text
        return text if self.plain else text.replace("-", "−")

    def rounded(self, value: float, measure: Measure, digits: int = 3) -> str:
        """Number of so many digits with its unit."""
        scale = self.scale(measure)
        return self._with_unit(self.significant(value / scale.size, digits), scale.unit)

    def significant(self, value: float, digits: int) -> str:
        """Number rounded to so many digits, `MISSING` where there is none."""
        if not np.isfinite(value) or value == 0:
            return self.figure(value, 0)
        decimals = digits - 1 - int(np.floor(np.log10(abs(value))))
        return self.figure(round(value, decimals), max(decimals, 0), trim=True)

    def cell(self, value: object, decimals: int = 2) -> str:
        """Cell of a table: numbers with at most `decimals`, text as it is."""
        if isinstance(value, (bool, np.bool_)):
            return "yes" if value else "no"
        if isinstance(value, (int, np.integer)):
            return self.figure(int(value), 0)
        if isinstance(value, (float, np.floating)):
            return self.figure(float(value), decimals, trim=True)
        return self.say(value if isinstance(value, str) else str(value))

    def _with_unit(self, figure: str, unit: str) -> str:
        space = " " if self.plain else "\u00a0"
        return f"{figure}{space}{unit}" if unit and figure != MISSING else figure
