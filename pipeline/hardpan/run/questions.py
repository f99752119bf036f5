"""Values that are likely to be in another unit, or that go before others: it is said, and the run goes on."""

from collections.abc import Iterator

import numpy as np

from hardpan.core.settings import parse
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.quantity import Quantity
from hardpan.records.survey import Survey
from hardpan.run.config import Config, learned_types
from hardpan.run.shipped_tables import tables_with


def questions(config: Config, survey: Survey) -> Issues:
    """Remark on each implausible value of the settings and readings, and on gains of a trial that are not used."""
    return (*_passed_over(config), *_questioned(config, survey))


def _passed_over(config: Config) -> Issues:
    """Remark on each number of soil.response that the configuration's own goes before; none where they are the same."""
    file = config.soil.response
    if file is None:
        return ()
    return tuple(
        Issue(
            outcome=Outcome.WARN,
            stage="survey",
            code="own-gain-first",
            what=f"{key} of {name} is given in [soil.types] and learned from the harvest",
            done="the one in [soil.types] is used; take it out to use what was learned",
            file=file.name,
            place=name,
        )
        for name, numbers in learned_types(file, file.name).items()
        for key, number in numbers.items()
        if config.soil.types[name].get(key) != number
    )


def _questioned(config: Config, survey: Survey) -> Issues:
    return tuple(
        Issue(
            outcome=Outcome.WARN,
            stage="survey",
            code="implausible",
            what=what,
            done=f"used as it is; {ask}",
            file=where,
        )
        for where, what, ask in _implausible(config, survey)
    )


def _implausible(config: Config, survey: Survey) -> Iterator[tuple[str, str, str]]:
    """Where it stands, what is implausible, and what to look at."""
    table = tables_with(config.numbers)["usual"]
    usual = {name: parse(Quantity, entry, file=f"usual.toml [{name}]") for name, entry in table.items()}
    low, high = usual["threshold"].span
    asked = config.pan.critical_kpa
    if not low <= asked <= high:
        what = f"a threshold of {asked:g} kPa is outside the usual {low:g} to {high:g} kPa"
        yield "pan.critical_kpa", what, f'a number without unit is kPa: "{asked:g} psi" is one in psi'
    deepest = float(np.nanmax(survey.profiles.readings["depth_mm"].to_numpy()))
    if deepest > usual["deepest_probe"].value:
        yield "probes.file", f"readings go to {deepest:.0f} mm", "check probes.depth_unit"
    lengths = {
        "prescription.user_uniform_depth_mm": config.prescription.user_uniform_depth_mm,
        "history.last_depth_mm": config.history.last_depth_mm,
        "machine.observed_depth_mm": config.machine.observed_depth_mm,
    }
    for key, depth_mm in lengths.items():
        if depth_mm is not None and depth_mm > usual["deepest_ripping"].value:
            yield key, f"a working depth of {depth_mm:g} mm is deeper than rippers go", "a number without unit is mm"
