"""Draws the pictures of the README: `python data/demo/picture.py`, once the season is that of the plan.

prescription.png is the demo's depth map, after_the_rip.png what the insertions after its pass say of each zone.
"""

from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from matplotlib.figure import Figure
from matplotlib.patches import Patch

import hardpan
from hardpan.outputs.palette import UNRIPPED, depth_colours
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.verify import draw_verdicts, verdict_colour
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_png, draw_zone_map
from hardpan.records.after import Judged, VerifyRun

HERE = Path(__file__).parent
CLOCK = hardpan.Clock(now=datetime(2027, 3, 1, tzinfo=UTC))
DOTS_PER_INCH, KEY_IN = 110, 0.4


def draw_after(checked: VerifyRun, words: Words) -> Figure:
    """Zones by verdict, with a key below."""
    zones, verdicts = checked.earlier.zones, {one.zone: one.verdict for one in checked.found.zones}
    figure = draw_verdicts(zones[zones["kind"] != "exclusion"], verdicts, checked.found.insertions)
    key = [
        Patch(
            facecolor=verdict_colour(one), edgecolor="black", label=words.after.verdict(one),
            hatch="///" if one is Judged.CANNOT_TELL else None,
        )
        for one in Judged if one in verdicts.values()
    ]  # fmt: skip
    key.append(Patch(facecolor=UNRIPPED, edgecolor="black", label=words.after.label("unripped")))
    width_in, height_in = figure.get_size_inches()
    figure.set_size_inches(width_in, height_in + KEY_IN)
    figure.axes[0].set_position((0.0, KEY_IN / (height_in + KEY_IN), 1.0, height_in / (height_in + KEY_IN)))
    figure.legend(handles=key, loc="lower center", ncol=len(key), fontsize=10, columnspacing=1.2, frameon=False)
    return figure


if __name__ == "__main__":
    config = hardpan.read_config(HERE / "demo.toml")
    run = hardpan.run_paddock(config, CLOCK)
    zones, words = run.plan.zones, speak(Units.of(config.outputs, run.rates.currency), run.catalog)
    figure = draw_zone_map(zones, depth_colours(zones["depth_mm"]), words)
    (HERE / "prescription.png").write_bytes(as_png(figure, DOTS_PER_INCH))
    with TemporaryDirectory() as folder:
        hardpan.write_outputs(run, OutputSettings(formats=("geojson",)), Path(folder) / "demo")
        checked = hardpan.verify_run(Path(folder) / "demo", hardpan.read_after(HERE / "after.toml"), CLOCK)
    (HERE / "after_the_rip.png").write_bytes(as_png(draw_after(checked, words), DOTS_PER_INCH))
