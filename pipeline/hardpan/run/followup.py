"""What follows a run: the pass checked, its strips harvested, two results compared; each from files to a record."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pyproj

from hardpan.compare.stage import compare
from hardpan.core.errors import InputError, SettingsError
from hardpan.core.settings import Settings, parse, setting
from hardpan.core.threads import one_blas_thread
from hardpan.records.after import VerdictSettings, VerifyRun
from hardpan.records.applied import AppliedSettings
from hardpan.records.evidence import TrialRun
from hardpan.records.past import Comparison
from hardpan.records.prices import Crop
from hardpan.records.trail import MANIFEST
from hardpan.records.trial import LOCAL_METRES, Planned, Trial, TrialSettings
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config, read_settings
from hardpan.run.manifest import Clock, trail_of
from hardpan.run.shipped_tables import pick, read_table
from hardpan.survey.inputs.earlier import read_earlier, read_record
from hardpan.survey.inputs.results import read_result
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.stage import read_again, read_log, read_trial
from hardpan.trials.stage import evaluate_trial
from hardpan.verify.applied import compare_with_plan
from hardpan.verify.stage import verify_pass


class After(Settings):
    """The file of `hardpan verify`; each table is a settings class of the room that reads it."""

    probes: ProbeSettings = setting(says="Insertions after the pass, as in the run")
    position: str = setting("position", says="Column that says line, quarter, midway or control", min_length=1)
    applied: AppliedSettings | None = setting(None, says="What the machine logged of the pass")
    verdict: VerdictSettings = setting(VerdictSettings(), says="What counts as broken")

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Every input file that is named."""
        log = None if self.applied is None else self.applied.file
        return (*self.probes.files, *(one for one in (self.probes.positions, log) if one is not None))


def read_after(path: Path) -> After:
    """Settings in the TOML file `path`.

    Raises
    ------
    InputError
        The file is missing or is not TOML.
    SettingsError
        A key is unknown, missing, or has a value that cannot be used.
    """
    return read_settings(path, After)


@one_blas_thread()
def verify_run(run: Path, after: After, clock: Clock) -> VerifyRun:
    """Whether the pass broke the pan, from the folder of a run and insertions after it; writes nothing.

    Raises
    ------
    HardpanError
        An input or a setting cannot be used.
    """
    with clock.stage("survey"):
        earlier = read_earlier(run)
        catalog = read_catalog(parse(Config, earlier.settings, file=MANIFEST, folder=run))
        again = read_again(after.probes, earlier, after.position)
        log = None if after.applied is None else read_log(after.applied, earlier)
    with clock.stage("verify"):
        found = verify_pass(earlier, again, after.verdict, catalog.setups)
        applied = None if log is None else compare_with_plan(earlier, log, level=after.verdict.level)
    digests = again.digests if log is None else pd.concat([again.digests, log.digests])
    return VerifyRun(
        earlier=earlier,
        found=found,
        applied=applied,
        catalog=catalog,
        trail=trail_of(after, digests, 0, clock),
        issues=(
            *again.issues,
            *found.issues,
            *(() if log is None else log.issues),
            *(applied.issues if applied else ()),
        ),
    )


_STRIPS, _ZONES, _TALLIES = "strips.geojson", "zones.csv", "tallies.csv"
"""Files of a run that a trial reads beside its manifest."""

_HELD = frozenset({"settings", "paddock", "working_crs"})
"""Parts of the manifest that it needs."""


def read_trial_settings(path: Path, run: Path | None = None) -> TrialSettings:
    """Settings of the trial in the TOML file `path`.

    Parameters
    ----------
    path : Path
        Paths in it are relative to its folder.
    run : Path, optional
        Result that laid the strips out, in place of the file's own.

    Raises
    ------
    InputError
        The file is missing or is not TOML.
    SettingsError
        A key is unknown, missing, or has a value that cannot be used.
    """
    given = {} if run is None else {"trial": {"run": str(run.resolve())}}
    return read_settings(path, Trial, given).trial


@one_blas_thread()
def run_trial(settings: TrialSettings, clock: Clock) -> TrialRun:
    """What the strips showed, and where that comes from; writes nothing.

    Raises
    ------
    HardpanError
        An input or a setting cannot be used.
    """
    with clock.stage("harvest"):
        document = None if settings.run is None else read_record(settings.run, MANIFEST, holding=_HELD)
        planned = None if document is None or settings.run is None else _planned(settings.run, document)
        strips = _strips_file(settings)
        inputs = read_trial(
            settings, strips, crs=_working_crs(settings, document), bushel_lb=_bushel(settings, planned)
        )
    with clock.stage("effects"):
        result = evaluate_trial(inputs, settings, planned)
    name = "" if document is None else str(document["paddock"]["name"])
    return TrialRun(
        name=name,
        result=result,
        catalog=None if planned is None else planned.catalog,
        display={} if document is None else document["settings"].get("outputs") or {},
        trail=trail_of(settings, inputs.digests, settings.seed, clock),
    )


def trial_files(settings: TrialSettings) -> tuple[Path, ...]:
    """Every file and folder that a trial reads."""
    return tuple(path for path in (settings.run, settings.strips, settings.points) if path is not None)


def _strips_file(settings: TrialSettings) -> Path:
    if settings.strips is not None:
        return settings.strips
    path = (settings.run or Path()) / _STRIPS
    if not path.is_file():
        raise InputError(
            what="the run laid out no strips", where=str(settings.run), right=_STRIPS,
            do="give trial.strips, or run again with [strips]",
        )  # fmt: skip
    return path


def _working_crs(settings: TrialSettings, document: dict[str, Any] | None) -> pyproj.CRS | None:
    if document is None:
        return None
    if settings.crs == LOCAL_METRES:
        raise SettingsError(what="the strips of a run lie on the map", where="trial.crs", right="the CRS of the points")
    return pyproj.CRS.from_user_input(document["working_crs"])


def _planned(run: Path, document: dict[str, Any]) -> Planned:
    """What the run planned for each ripped zone, and the tables it was priced with."""
    config = parse(Config, document["settings"], file=MANIFEST, folder=run)
    try:
        zones, tallies = (pd.read_csv(run / name, dtype={"zone": str}) for name in (_ZONES, _TALLIES))
        ripped = zones[zones["depth_mm"] > 0].set_index("zone")
        money = tallies.set_index(["item", "zone"])[["amount", "low", "high"]]
        cost = money.loc["cost"].loc[ripped.index]
        benefit = money.loc["benefit"].loc[ripped.index, "amount"]
    except (OSError, KeyError, ValueError) as err:
        raise InputError(
            what=f"{_ZONES} or {_TALLIES} is missing or was changed",
            where=str(run),
            do="run again, or give trial.strips",
        ) from err
    table = ripped[["soil_type", "area_ha", "depth_mm"]].assign(
        benefit=benefit, cost=cost["amount"], cost_low=cost["low"], cost_high=cost["high"]
    )
    table = table.reset_index().astype({"zone": int})
    return Planned(zones=table, catalog=read_catalog(config), controlled_traffic=config.season.controlled_traffic)


def _bushel(settings: TrialSettings, planned: Planned | None) -> float | None:
    """Mass of a bushel of the crop, lb; None where no crop is known or its bushel is not."""
    crop = None if planned is None else planned.catalog.crops[planned.catalog.rotation[0]]
    if settings.crop is not None:
        crop = parse(Crop, pick(read_table("crops"), settings.crop, what="crop", where="trial.crop"), file="crops.toml")
    return None if crop is None or crop.bushel is None else crop.bushel.value


def _told_apart(*folders: Path) -> Iterator[tuple[Path, str]]:
    """Each folder with as much of the end of its path as tells it from the others."""
    parts = [folder.resolve().parts for folder in folders]
    enough = next((n for n in range(1, max(map(len, parts))) if len({one[-n:] for one in parts}) == len(parts)), 1)
    yield from ((folder, "/".join(one[-enough:])) for folder, one in zip(folders, parts, strict=True))


def run_compare(before: Path, after: Path, clock: Clock) -> Comparison:
    """What changed from one result to another; writes nothing.

    Raises
    ------
    HardpanError
        A folder holds no result, or the two are of different ground.
    """
    with clock.stage("results"):
        earlier, later = (replace(read_result(one), name=name) for one, name in _told_apart(before, after))
        prices = later.document["settings"].get("prices") or {}
        currency = prices.get("currency") or str(read_table("prices")["currency"])
    with clock.stage("compare"):
        return compare(earlier, later, currency=currency)
