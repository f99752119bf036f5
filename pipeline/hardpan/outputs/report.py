"""report.html: one self-contained page."""

from collections.abc import Mapping
from pathlib import Path

import jinja2

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.tables import cell
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issues


def write_report(
    path: Path, run: PaddockRun, issues: Issues, colours: Mapping[int, str], settings: OutputSettings
) -> None:
    """Write the page."""
    loader = jinja2.PackageLoader("hardpan.outputs")
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined)
    page = environment.get_template("report.html").render(
        run=run, issues=issues, colours=colours, settings=settings, zones=run.plan.zones.to_dict("records"), cell=cell
    )
    path.write_text(page, encoding="utf-8", newline="\n")
