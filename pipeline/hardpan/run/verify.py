"""A check of the pass from its files to its verdicts: one call a stage."""

from pathlib import Path

from hardpan.core.settings import Settings, setting
from hardpan.core.threads import one_blas_thread
from hardpan.records.after import VerdictSettings, VerifyRun
from hardpan.run.config import read_settings
from hardpan.run.manifest import Clock, trail_of_tables
from hardpan.survey.inputs.earlier import read_earlier
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.stage import read_again
from hardpan.verify.stage import verify_pass


class After(Settings):
    """The file of `hardpan verify`; each table is a settings class of the room that reads it."""

    probes: ProbeSettings = setting(says="Insertions after the pass, as in the run")
    position: str = setting("position", says="Column that says line, quarter, midway or control", min_length=1)
    verdict: VerdictSettings = setting(VerdictSettings(), says="What counts as broken")

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Every input file that is named."""
        files = self.probes.file if isinstance(self.probes.file, tuple) else (self.probes.file,)
        return (*files, *(one for one in (self.probes.positions,) if one is not None))


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
        again = read_again(after.probes, earlier, after.position)
    with clock.stage("verify"):
        found = verify_pass(earlier, again, after.verdict)
    return VerifyRun(
        earlier=earlier,
        found=found,
        trail=trail_of_tables(after, again.digests, 0, clock),
        issues=(*again.issues, *found.issues),
    )
