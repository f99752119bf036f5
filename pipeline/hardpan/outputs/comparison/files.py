"""Every file of a comparison, written beside its place and renamed into it at the end."""

import json
from importlib.resources import files
from pathlib import Path

import jinja2
import numpy as np
from markupsafe import Markup
from matplotlib import colormaps
from matplotlib.colors import to_hex

from hardpan.outputs.comparison.figures import draw_depths, draw_difference
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.ownership import MANIFEST, digests, sealed
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.tables import cell
from hardpan.outputs.words.english.comparison import EnglishComparison
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_svg
from hardpan.records.comparison import CAUSES, Comparison

_DECIMALS = 4


def write_comparison(found: Comparison, folder: Path, started: str) -> tuple[Path, ...]:
    """Write table, page and run.json of a comparison; give their paths.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    words = comparison_words(found)
    with fresh_folder(folder) as work:
        table = found.rows.apply(lambda column: column.map(lambda value: cell(value, _DECIMALS)))
        table.to_csv(work / "compare.csv", index=False, lineterminator="\n", encoding="utf-8")
        (work / "compare.html").write_text(_page(found, words), encoding="utf-8", newline="\n")
        document = {
            "tool": "hardpan",
            "kind": "compare",
            "version": found.after.document["version"],
            "settings_sha256": [str(run.document["settings_sha256"]) for run in (found.before, found.after)],
            "changes": len(found.rows),
            "clock": {"started": started},
        }
        text = json.dumps(sealed(document, digests(work)), indent=1, sort_keys=True, ensure_ascii=False)
        (work / MANIFEST).write_text(text + "\n", encoding="utf-8", newline="\n")
    return tuple(sorted(folder.iterdir()))


def comparison_words(found: Comparison) -> EnglishComparison:
    """What is said of a comparison, in the currency of the later run."""
    return EnglishComparison(Units(us=False, depth_unit="mm", currency=found.currency))


def _page(found: Comparison, words: EnglishComparison) -> str:
    before, after = found.before, found.after
    colours = depth_colours([*before.zones["depth_mm"], *after.zones["depth_mm"]])
    maps = [
        (Markup(as_svg(draw_depths(run.zones, colours))), words.label("map", which=run.name)) for run in (before, after)
    ]
    most = 0.0
    if found.difference is not None and found.clear is not None and np.nanmax(np.abs(found.difference)) > 0:
        figure, most = draw_difference(found.difference, found.clear)
        maps.append((Markup(as_svg(figure)), words.label("difference")))
    rows = found.rows.to_dict("records")
    loader = jinja2.PackageLoader("hardpan.outputs.comparison")
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    context = {
        "title": words.label("title", before=before.name, after=after.name), "say": words.label, "maps": maps,
        "css": Markup(files("hardpan.outputs.report").joinpath("templates/report.css").read_text("utf-8")),
        "headline": words.headline(found), "doubts": words.doubts(found),
        "key": [(words.units.depth(mm) if mm else words.label("leave"), colour) for mm, colour in colours.items()],
        "most": words.value(most) if most else "",
        "ramp": [to_hex(colormaps["PuOr"](share)) for share in np.linspace(0.0, 1.0, 7)],
        "cause_heads": [words.label(key) for key in ("what", "where", "before", "after")],
        "causes": [
            [words.kind(row["what"]), row["where"], words.value(row["before"]), words.value(row["after"])]
            for row in rows if row["what"] in CAUSES
        ],
        "change_heads": [words.label(key) for key in ("what", "where", "before", "after", "change", "range")],
        "changes": [
            [
                words.kind(row["what"]), str(row["where"]).replace("_", " "),
                *(words.value(row[name]) for name in ("before", "after", "change")), words.span(row),
            ]
            for row in rows if row["what"] not in CAUSES
        ],
    }  # fmt: skip
    return environment.get_template("compare.html").render(context)
