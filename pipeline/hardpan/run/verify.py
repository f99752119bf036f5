"""A check of the pass from its files to its verdicts: one call a stage."""

from pathlib import Path

import pandas as pd

from hardpan.core.settings import Settings, parse, setting
from hardpan.core.threads import one_blas_thread
from hardpan.records.after import VerdictSettings, VerifyRun
from hardpan.records.applied import AppliedSettings
from hardpan.records.trail import MANIFEST
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config, read_settings
from hardpan.run.manifest import Clock, trail_of_tables
from hardpan.survey.inputs.earlier import read_earlier
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.stage import read_again, read_log
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
        files = self.probes.file if isinstance(self.probes.file, tuple) else (self.probes.file,)
        log = None if self.applied is None else self.applied.file
        return (*files, *(one for one in (self.probes.positions, log) if one is not None))


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
        trail=trail_of_tables(after, digests, 0, clock),
        issues=(
            *again.issues,
            *found.issues,
            *(() if log is None else log.issues),
            *(applied.issues if applied else ()),
        ),
    )
