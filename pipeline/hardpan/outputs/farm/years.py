"""Which zones come again when, and how deep then, over many paddocks."""

from hardpan.outputs.pages import Table
from hardpan.outputs.words.english import farm as words
from hardpan.outputs.words.units import Units
from hardpan.records.across import FarmRun

_DUE = ["again_low", "again_high", "again_mm"]


def years_table(run: FarmRun, units: Units) -> Table:
    """Zones that are ripped and come again alike, by paddock, the soonest first."""
    rows = list[tuple[float, float, list[str]]]()
    for result in run.results.values():
        ripped = result.zones[(result.zones["depth_mm"] > 0) & result.zones["again_low"].notna()]
        for (low, high, depth_mm), its in ripped.groupby(_DUE):
            told = [result.name, words.numbers(its["zone"]), f"{its['area_ha'].sum():.1f}"]
            rows.append((low, high, [*told, words.seasons(low, high), units.depth(depth_mm)]))
    keys = ("paddock", "zones", "area", "after", "depth_then")
    labels = [words.label(key, area=units.area_unit) for key in keys]
    return Table(labels, [row for _, _, row in sorted(rows, key=lambda one: one[:2])])
