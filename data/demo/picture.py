"""Draws prescription.png, the picture of the demo's depth map in the README: `python data/demo/picture.py`."""

from datetime import UTC, datetime
from pathlib import Path

import hardpan
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_png, draw_zone_map

HERE = Path(__file__).parent

if __name__ == "__main__":
    config = hardpan.read_config(HERE / "demo.toml")
    run = hardpan.run_paddock(config, hardpan.Clock(now=datetime(2027, 3, 1, tzinfo=UTC)))
    zones, words = run.plan.zones, speak(Units.of(config.outputs, run.rates.currency), run.catalog)
    figure = draw_zone_map(zones, depth_colours(zones["depth_mm"]), words)
    (HERE / "prescription.png").write_bytes(as_png(figure, 110))
