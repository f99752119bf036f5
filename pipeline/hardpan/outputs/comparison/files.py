"""Every file of a comparison, written beside its place and renamed into it at the end."""

from pathlib import Path

import numpy as np
from markupsafe import Markup
from matplotlib import colormaps
from matplotlib.colors import to_hex

from hardpan.core.settings import parse
from hardpan.outputs.comparison.figures import draw_depths, draw_difference
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.manifest import write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.tables import cell
from hardpan.outputs.words.english.comparison import EnglishComparison
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_svg
from hardpan.records.comparison import CAUSES, Comparison
from hardpan.records.trail import MANIFEST

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
        _write_page(work / "compare.html", found, words)
        document = {
            "tool": "hardpan",
            "kind": "compare",
            "version": found.after.document["version"],
            "settings_sha256": [str(run.document["settings_sha256"]) for run in (found.before, found.after)],
            "changes": len(found.rows),
            "clock": {"started": started},
        }
        write_document(work / MANIFEST, document, digests(work))
    return tuple(sorted(folder.iterdir()))


def comparison_words(found: Comparison) -> EnglishComparison:
    """What is said of a comparison, in the units of the later run's readers."""
    given = found.after.document["settings"].get("outputs") or {}
    return EnglishComparison(Units.of(parse(OutputSettings, given, file=MANIFEST), found.currency))


def _write_page(path: Path, found: Comparison, words: EnglishComparison) -> None:
    before, after = found.before, found.after
    colours = depth_colours([*before.zones["depth_mm"], *after.zones["depth_mm"]])
    maps = [
        (Markup(as_svg(draw_depths(run.zones, colours))), words.label("map", which=run.name)) for run in (before, after)
    ]
    most = 0.0
    if found.difference is not None and found.clear is not None and np.nanmax(np.abs(found.difference)) > 0:
        figure, most = draw_difference(found.difference, found.clear)
        maps.append((Markup(as_svg(figure)), words.label("difference", unit=words.units.depth_unit)))
    rows = found.rows.to_dict("records")
    context = {
        "title": words.label("title", before=before.name, after=after.name), "say": words.label, "maps": maps,
        "headline": words.headline(found), "doubts": words.doubts(found),
        "key": [(words.units.depth(mm) if mm else words.label("leave"), colour) for mm, colour in colours.items()],
        "most": words.units.depth(most) if most else "",
        "ramp": [to_hex(colormaps["PuOr"](share)) for share in np.linspace(0.0, 1.0, 7)],
        "causes": Table(
            [words.label(key) for key in ("what", "where", "before", "after")],
            [
                [words.kind(row["what"]), row["where"], words.value(row["before"]), words.value(row["after"])]
                for row in rows if row["what"] in CAUSES
            ],
        ),
        "changes": Table(
            [words.label(key) for key in ("what", "where", "before", "after", "change", "range")],
            [
                [
                    words.kind(row["what"]), words.where(row),
                    *(words.amount(row, row[name]) for name in ("before", "after", "change")), words.span(row),
                ]
                for row in rows if row["what"] not in CAUSES
            ],
        ),
    }  # fmt: skip
    write_page(path, "comparison", context)
