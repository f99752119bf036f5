"""Everything that is written of a pass that was probed afterwards: tables, map layer, page."""

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib import colormaps
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

from hardpan.core.settings import parse
from hardpan.outputs.applied import applied_record, applied_section, write_applied
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.geodesy import to_display
from hardpan.outputs.geojson import write_collection
from hardpan.outputs.manifest import provenance, rows_of, steady, write_document
from hardpan.outputs.ownership import digests
from hardpan.outputs.pages import Table, write_page
from hardpan.outputs.palette import EDGE, EXCLUDED, UNRIPPED, text_on
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.tables import write_table
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import Units
from hardpan.outputs.zone_map import as_svg, map_axes, outline_path
from hardpan.records.after import Found, Judged, Mean, Position, VerifyRun, ZoneFound
from hardpan.records.issues import Issues
from hardpan.records.trail import MANIFEST

_SCALE = {Judged.NOT_REACHED: 0.95, Judged.PARTLY: 0.6, Judged.BROKEN: 0.1}
_MARKS = {"line": "|", "quarter": "+", "midway": "o", "control": "x"}


def verify_words(run: VerifyRun) -> Words:
    """Words in the units of the run's readers."""
    return speak(Units.of(_settings(run), run.catalog.prices.currency), run.catalog)


def headlines(run: VerifyRun) -> list[str]:
    """The answer in one sentence, and that of the machine's log where one was given, for a terminal."""
    words = speak(Units.of_terminal(_settings(run), run.catalog.prices.currency), run.catalog)
    logged = [] if run.applied is None else [words.applied.headline(run.applied)]
    return [words.after.headline(run.found), *logged]


def _settings(run: VerifyRun) -> OutputSettings:
    given = run.earlier.settings.get("outputs", {})
    return parse(OutputSettings, given if isinstance(given, dict) else {}, file=MANIFEST)


def write_verify(run: VerifyRun, folder: Path) -> tuple[Path, ...]:
    """Write verify.csv, verify.geojson, verify.html and run.json into `folder`, whole or not at all; give their paths.

    Where a log was given, also applied.csv, cleaning.csv and observed.toml.

    Raises
    ------
    HardpanError
        The folder cannot be written or is not a result.
    """
    words, plain = verify_words(run), speak(Units.of_files(run.catalog.prices.currency), run.catalog)
    table = verdict_table(run.found, plain)
    zones = run.earlier.zones[["zone", "geometry"]].merge(table, on="zone")
    shown, _, issues = to_display(gpd.GeoDataFrame(zones, geometry="geometry", crs=run.earlier.crs))
    with fresh_folder(folder) as work:
        write_table(work / "verify.csv", table)
        _write_geojson(work / "verify.geojson", shown, run.earlier.name)
        if run.applied is not None:
            write_applied(work, run.applied, plain)
        write_verify_page(work / "verify.html", run, (*run.issues, *issues), words)
        _write_manifest(work / MANIFEST, run, words)
    return tuple(sorted(folder.iterdir()))


def verdict_table(found: Found, words: Words) -> pd.DataFrame:
    """One row a zone; `low` and `high` are those of the depth midway, of the line where midway was not probed."""
    return pd.DataFrame([_row(one, words) for one in found.zones])


def _row(one: ZoneFound, words: Words) -> dict[str, object]:
    line, midway = (one.reached.get(place) for place in (Position.LINE, Position.MIDWAY))
    depth, across, broken = midway or line, one.across, one.broken
    return {
        "zone": one.zone,
        "verdict": str(one.verdict),
        "reached_line_mm": np.nan if line is None else line.value,
        "reached_midway_mm": np.nan if midway is None else midway.value,
        "low": _end(depth, "low"),
        "high": _end(depth, "high"),
        "opened_share": _within(across, "value"),
        "opened_low": _within(across, "low"),
        "opened_high": _within(across, "high"),
        "insertions": one.insertions,
        "advice": words.after.advice(one),
        "expected_line_mm": one.expected_mm[Position.LINE],
        "expected_midway_mm": one.expected_mm[Position.MIDWAY],
        "broken_share": _within(broken, "value"),
        "broken_low": _within(broken, "low"),
        "broken_high": _within(broken, "high"),
        "planned_share": one.planned_share,
        "more_insertions": one.more,
    }


def _end(mean: Mean | None, name: str) -> float:
    value = np.nan if mean is None else float(getattr(mean, name))
    return value if np.isfinite(value) else np.nan


def _within(mean: Mean | None, name: str) -> float:
    return float(np.clip(_end(mean, name), 0.0, 1.0))


def _write_geojson(path: Path, shown: gpd.GeoDataFrame, name: str) -> None:
    rows = [{key: _plain(value) for key, value in row.items()} for row in rows_of(shown.drop(columns="geometry"))]
    write_collection(path, {"name": name}, rows, shown.geometry.to_numpy())


def _write_manifest(path: Path, run: VerifyRun, words: Words) -> None:
    files = digests(path.parent)
    document = provenance(run.trail) | {
        "command": "verify",
        "paddock": {"name": run.earlier.name},
        "headline": words.after.headline(run.found),
        "applied": None if run.applied is None else applied_record(run.applied),
        "moisture": rows_of(run.found.moisture.round(4)),
        "files_sha256": steady(files),
    }
    write_document(path, document, files)


def _plain(value: object) -> object:
    if isinstance(value, float | np.floating):
        return round(float(value), 4) if np.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value


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
    write_page(path, context)


def _zones(run: VerifyRun, words: Words) -> Table:
    depth = run.earlier.zones.set_index("zone")["depth_mm"]
    keys = ("zone", "planned", "verdict", "line", "midway", "opened", "broken", "insertions")
    rows = [
        [
            str(one.zone),
            words.units.near_depth(float(depth[one.zone])),
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
    return f"{words.after.range(one.reached.get(place), depth=True)} / {words.units.near_depth(one.expected_mm[place])}"


def _moisture(run: VerifyRun, words: Words) -> Table:
    rows = [
        [str(row.zone), f"{row.factor:.2f} ({row.low:.2f} to {row.high:.2f})", str(row.controls)]
        for row in run.found.moisture.dropna().itertuples()
    ]
    return Table([words.after.label(key) for key in ("zone", "factor", "controls")], rows)


def verdict_colour(verdict: Judged) -> str:
    """Colour of a verdict on cividis, bright where something is to be done; white where nobody can tell."""
    return EXCLUDED if verdict is Judged.CANNOT_TELL else to_hex(colormaps["cividis"](_SCALE[verdict]))


def draw_verdicts(zones: gpd.GeoDataFrame, verdicts: Mapping[int, Judged], insertions: gpd.GeoDataFrame) -> Figure:
    """Figure of the zones by verdict, with the insertions; unripped ground is pale, and hatched where none can tell."""
    west, south, east, north = zones.total_bounds
    figure, axes = map_axes((west, south, east, north))
    for row in zones.itertuples():
        verdict = verdicts.get(int(row.zone))
        colour = UNRIPPED if verdict is None else verdict_colour(verdict)
        hatch = "///" if verdict is Judged.CANNOT_TELL else None
        axes.add_patch(
            PathPatch(outline_path(row.geometry), facecolor=colour, edgecolor=EDGE, linewidth=1.6, hatch=hatch)
        )
        if verdict is not None:
            at = max(getattr(row.geometry, "geoms", [row.geometry]), key=lambda part: part.area).representative_point()
            slip = {"boxstyle": "round,pad=0.2", "facecolor": colour, "edgecolor": "none"}
            axes.text(at.x, at.y, str(row.zone), ha="center", va="center", fontsize=14, fontweight="bold",
                      color=text_on(colour), bbox=slip, zorder=3)  # fmt: skip
    for position, mark in _MARKS.items():
        there = insertions[insertions["position"] == position]
        for colour, width in ((EXCLUDED, 3.2), (EDGE, 1.4)):
            axes.plot(there.geometry.x, there.geometry.y, mark, color=colour, markersize=8, markeredgewidth=width,
                      fillstyle="none", zorder=2)  # fmt: skip
    axes.set_xlim(west - 5, east + 5)
    axes.set_ylim(south - 5, north + 5)
    return figure
