"""The answer in short: for the terminal, and for whoever calls from Python."""

from typing import TypeAlias

import geopandas as gpd

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.shown import shown_quantities
from hardpan.outputs.words.told import told_issues, told_zones
from hardpan.outputs.words.units import Units
from hardpan.records.catalog import Catalog
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issues
from hardpan.records.probing import ProbingRun
from hardpan.records.survey import Survey

METRIC = OutputSettings()

Table: TypeAlias = tuple[list[str], list[list[str]]]
"""Headings, and rows of text."""


def headline(run: PaddockRun, settings: OutputSettings = METRIC) -> str:
    """Where to rip, at what cost, and whether it pays: one sentence, in the units of `settings`."""
    words = speak(Units.of_terminal(settings, run.rates.currency), run.catalog)
    return words.money.headline(run.plan, run.ledger)


def map_verdict(run: PaddockRun, settings: OutputSettings = METRIC) -> str:
    """Whether the map of the pan's bottom is better than plain yardsticks, in the units of `settings`."""
    words = speak(Units.of_terminal(settings, run.rates.currency), run.catalog)
    return words.ground.map_verdict(run.surfaces.verdict)


def zone_table(run: PaddockRun, settings: OutputSettings = METRIC) -> gpd.GeoDataFrame:
    """Zones of the plan with what is said of them, columns `told.ZONES`, sentences in the units of `settings`."""
    return told_zones(run.plan, speak(Units.of_terminal(settings, run.rates.currency), run.catalog))


def zone_summary(run: PaddockRun, settings: OutputSettings = METRIC) -> Table:
    """Headings, and a row a zone: area, depth, set-up, return with its likely range, and reason.

    Check strips share the last row.
    """
    units = Units.of_terminal(settings, run.rates.currency)
    words = speak(units, run.catalog)
    parts = {"area": {"unit": units.area_unit}, "depth": {"unit": units.depth_unit}, "net": {"unit": units.area_unit}}
    keys = ("zone", "area", "depth", "setup", "net", "range", "reason")
    headings = [words.page.label(f"summary_{key}", **parts.get(key, {})) for key in keys]
    shown = shown_quantities(run.plan.zones, run.ledger.lines, units)
    rows, zones = [], told_zones(run.plan, words)
    strips = zones.loc[zones["kind"] == "strip", "zone"]
    for zone in zones[zones["kind"] != "strip"].to_dict("records"):
        ripped = zone["depth_mm"] > 0
        rows.append(
            [
                str(zone["zone"]),
                units.area(shown.loc[zone["zone"], "area_ha"], bare=True),
                units.depth(zone["depth_mm"], bare=True),
                zone["setup"] or "-",
                units.figure(units.per_area_of(zone["net_per_ha"]), 0) if ripped else "-",
                units.span(zone["net_low_per_ha"], zone["net_high_per_ha"]) if ripped else "-",
                zone["reason"],
            ]
        )
    if len(strips):
        area = units.area(shown.loc[strips, "area_ha"].sum(), bare=True)
        rows.append([words.page.numbers(strips), area, "0", "-", "-", "-", words.page.label("strips_left")])
    return headings, rows


def machine_summary(run: PaddockRun, settings: OutputSettings = METRIC) -> tuple[Table, str]:
    """Headings and a row a machine, and which returns most."""
    units = Units.of_terminal(settings, run.rates.currency)
    words = speak(units, run.catalog)
    table = words.money.machine_table(run.machines)
    rows = [[units.cell(value, 0) for value in row] for row in table.itertuples(index=False)]
    return (list(table.columns), rows), words.money.best_machine(run.machines)


def site_summary(run: ProbingRun, settings: OutputSettings) -> tuple[Table, str]:
    """Headings and a row a site in walking order, and how many sites there are and what they take, one sentence."""
    words = speak(Units.of_terminal(settings, run.catalog.prices.currency), run.catalog)
    headings = [words.sites.label(key) for key in ("order", "site", "insertions", "soil_type", "why")]
    rows = [
        [str(row["order"]), row["site"], str(row["insertions"]), row["soil_type"], words.sites.why(row)]
        for row in run.plan.sites.drop(columns="geometry").to_dict("records")
    ]
    return (headings, rows), words.sites.headline(run.plan, run.survey.paddock.area_ha)


def check_summary(survey: Survey, issues: Issues, catalog: Catalog, settings: OutputSettings) -> tuple[Table, str]:
    """Remarks on the inputs, and what was found in them, one sentence."""
    words = speak(Units.of_terminal(settings, catalog.prices.currency), catalog)
    columns = ("outcome", "file", "place", "what", "done")
    table = told_issues(issues, words)[list(columns)]
    headings = [words.page.label(f"check_{column}") for column in columns]
    sites = len(set(survey.profiles.readings["site"].values.tolist()))
    area_ha, crs = survey.paddock.area_ha, survey.crs.name
    found = words.page.ready(survey.profiles.n_insertions, sites, area_ha, crs, len(issues))
    return (headings, table.to_numpy().tolist()), found
