"""Compaction zones and variable-depth ripping prescriptions from cone-penetrometer readings.

One function a stage, and `run_paddock` for all of them; each is loaded when first used.
"""

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the same names for type checkers, which cannot see what is loaded when first used
    from hardpan.costs.stage import tally as tally
    from hardpan.money.stage import price_machines as price_machines
    from hardpan.options.stage import weigh_options as weigh_options
    from hardpan.outputs.sites import write_sites as write_sites
    from hardpan.outputs.stage import write_outputs as write_outputs
    from hardpan.outputs.words.summary import headline as headline
    from hardpan.outputs.words.summary import map_verdict as map_verdict
    from hardpan.outputs.words.summary import zone_table as zone_table
    from hardpan.pan.stage import detect_pan as detect_pan
    from hardpan.prescription.stage import prescribe as prescribe
    from hardpan.prescription.stage import settle_zones as settle_zones
    from hardpan.run.catalog import read_catalog as read_catalog
    from hardpan.run.chain import read_inputs as read_inputs
    from hardpan.run.chain import run_paddock as run_paddock
    from hardpan.run.chain import weigh_machines as weigh_machines
    from hardpan.run.config import change as change
    from hardpan.run.config import read_config as read_config
    from hardpan.run.config import read_paddock_config as read_paddock_config
    from hardpan.run.farm import run_farm as run_farm
    from hardpan.run.followup import read_after as read_after
    from hardpan.run.followup import read_trial_settings as read_trial_settings
    from hardpan.run.followup import run_compare as run_compare
    from hardpan.run.followup import run_trial as run_trial
    from hardpan.run.followup import verify_run as verify_run
    from hardpan.run.manifest import Clock as Clock
    from hardpan.run.probing import plan_sites as plan_sites
    from hardpan.surfaces.stage import map_pan as map_pan
    from hardpan.survey.stage import read_survey as read_survey
    from hardpan.zones.stage import draw_zones as draw_zones

__version__ = "0.2.0"

_PUBLIC = {
    "read_config": "run.config",
    "change": "run.config",
    "run_paddock": "run.chain",
    "read_inputs": "run.chain",
    "Clock": "run.manifest",
    "read_catalog": "run.catalog",
    "read_survey": "survey.stage",
    "detect_pan": "pan.stage",
    "map_pan": "surfaces.stage",
    "price_machines": "money.stage",
    "weigh_options": "options.stage",
    "draw_zones": "zones.stage",
    "settle_zones": "prescription.stage",
    "prescribe": "prescription.stage",
    "tally": "costs.stage",
    "write_outputs": "outputs.stage",
    "read_trial_settings": "run.followup",
    "run_trial": "run.followup",
    "run_compare": "run.followup",
    "read_paddock_config": "run.config",
    "plan_sites": "run.probing",
    "write_sites": "outputs.sites",
    "read_after": "run.followup",
    "verify_run": "run.followup",
    "weigh_machines": "run.chain",
    "run_farm": "run.farm",
    "headline": "outputs.words.summary",
    "zone_table": "outputs.words.summary",
    "map_verdict": "outputs.words.summary",
}

__all__ = ["__version__", *_PUBLIC]  # noqa: PLE0604 - names that are loaded when first used


def __getattr__(name: str) -> object:
    """Load a public name when it is first used, so that `hardpan --help` answers at once."""
    if name not in _PUBLIC:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    return getattr(importlib.import_module(f"{__name__}.{_PUBLIC[name]}"), name)
