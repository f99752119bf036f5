"""Pages of one file that work offline: one shell, one style, one kind of table for all of them."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import jinja2


class Table(NamedTuple):
    """A table of text, as the templates draw it."""

    heads: list[str]
    rows: list[list[str]]


def write_page(path: Path, context: Mapping[str, Any]) -> None:
    """Write the page that the template of the same name makes of a context.

    Parameters
    ----------
    path : Path
        The file to write; the same context gives the same bytes.
    context : Mapping
        What the template asks for.
    """
    templates = jinja2.PackageLoader("hardpan.outputs")
    environment = jinja2.Environment(
        loader=templates, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )
    path.write_text(environment.get_template(path.name).render(context), encoding="utf-8", newline="\n")
