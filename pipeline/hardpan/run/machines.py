"""The present machine beside others, without the files of a plan."""

from hardpan.core.errors import SettingsError
from hardpan.records.evidence import PaddockRun
from hardpan.run.chain import run_paddock
from hardpan.run.config import Config
from hardpan.run.manifest import Clock


def weigh_machines(config: Config, clock: Clock) -> PaddockRun:
    """The paddock planned with the present machine, and in `machines` what the others would do there; writes nothing.

    Raises
    ------
    HardpanError
        No other machine is given, or an input or a setting cannot be used.
    """
    if not config.alternatives:
        raise SettingsError(
            what="there is nothing to compare the present machine with",
            where="[[alternatives]]",
            right="tables with name and tractor, ripper, setup or rate_per_ha",
        )
    return run_paddock(config, clock, further=False)
