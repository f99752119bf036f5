"""The page of a pass that was probed: the answer, the map, one row a zone, what could be wrong."""

from pathlib import Path

from markupsafe import Markup

from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import UNRIPPED
from hardpan.outputs.verify.applied import applied_section
from hardpan.outputs.verify.figures import draw_verdicts, verdict_colour
from hardpan.outputs.words.interface import Words
from hardpan.outputs.zone_map import as_svg
from hardpan.records.after import Judged, Position, VerifyRun, ZoneFound
from hardpan.records.issues import Issues


def write_verify_page(path: Path, run: VerifyRun, issues: Issues, words: Words) -> None:
    """Write the page, one self-contained file."""
    found, zones = run.found, run.earlier.zones
    verdicts = {one.zone: one.verdict for one in found.zones}
    shown = zones[zones["kind"] != "exclusion"]
    picture = draw_verdicts(shown, verdicts, found.insertions)
    context = {
        "name": run.earlier.name, "say": words.after.label, "trail": run.trail,
        "headline": words.after.headline(found), "map": Markup(as_svg(picture)), "map_alt": words.after.map(found),
        "key": [
            *(
                (words.after.verdict(one), verdict_colour(one), one is Judged.CANNOT_TELL)
                for one in Judged if one in verdicts.values()
            ),
            (words.after.label("unripped"), UNRIPPED, False),
        ],
        "zones": _zones(run, words), "advice": [(one.zone, words.after.advice(one)) for one in found.zones],
        "doubts": words.after.doubts(found), "moisture": _moisture(run, words), "method": words.after.method(),
        "applied": None if run.applied is None else applied_section(run.applied, shown, words),
        "remarks": [(one.place, words.units.say(one.what), words.units.say(one.done)) for one in issues],
    }  # fmt: skip
    write_page(path, "verify", context)


def _zones(run: VerifyRun, words: Words) -> Table:
    depth = run.earlier.zones.set_index("zone")["depth_mm"]
    keys = ("zone", "planned", "verdict", "line", "midway", "opened", "broken", "insertions")
    rows = [
        [
            str(one.zone),
            words.after.depth(float(depth[one.zone])),
            words.after.verdict(one.verdict),
            _reached(one, Position.LINE, words),
            _reached(one, Position.MIDWAY, words),
            words.after.range(one.across),
            f"{words.after.range(one.broken)} / {words.after.share(one.planned_share)}",
            str(one.insertions),
        ]
        for one in run.found.zones
    ]
    return Table([words.after.label(key) for key in keys], rows)


def _reached(one: ZoneFound, place: Position, words: Words) -> str:
    return f"{words.after.range(one.reached.get(place), depth=True)} / {words.after.depth(one.expected_mm[place])}"


def _moisture(run: VerifyRun, words: Words) -> Table:
    rows = [
        [str(row.zone), f"{row.factor:.2f} ({row.low:.2f} to {row.high:.2f})", str(row.controls)]
        for row in run.found.moisture.dropna().itertuples()
    ]
    return Table([words.after.label(key) for key in ("zone", "factor", "controls")], rows)
