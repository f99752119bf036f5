"""English, by subject: zones, ground, money, and the labels of the page."""

from hardpan.outputs.words.english.after import EnglishAfter
from hardpan.outputs.words.english.applied import EnglishApplied
from hardpan.outputs.words.english.ground import EnglishGround
from hardpan.outputs.words.english.money import EnglishMoney
from hardpan.outputs.words.english.page import EnglishPage
from hardpan.outputs.words.english.set_up import EnglishWeather
from hardpan.outputs.words.english.sites import EnglishSites
from hardpan.outputs.words.english.zones import EnglishZones
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import Units
from hardpan.records.catalog import Catalog


def speak(units: Units, catalog: Catalog) -> Words:
    """English in the units of one reader; `catalog` has the names of set-ups, soils and rules."""
    return Words(
        units=units,
        zones=EnglishZones(units, catalog),
        ground=EnglishGround(units, catalog),
        money=EnglishMoney(units, catalog),
        page=EnglishPage(units),
        sites=EnglishSites(units),
        after=EnglishAfter(units),
        applied=EnglishApplied(units),
        weather=EnglishWeather(units),
    )
