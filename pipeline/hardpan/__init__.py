"""Compaction zones and variable-depth ripping prescriptions from cone-penetrometer readings.

One function a stage, and `run_paddock` for all of them; each is loaded when first used.
"""

import importlib

__version__ = "0.1.0"

_PUBLIC = {
    "read_config": "run.config",
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
    "prescribe": "prescription.stage",
    "tally": "costs.stage",
    "write_outputs": "outputs.stage",
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
