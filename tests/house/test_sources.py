"""References in step: every source that is named is known, every known one is named, no number stands without both."""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel

from hardpan.core.settings import parse
from hardpan.records.catalog import Source
from hardpan.records.machines import DraftRow, Effort, Ripper, SetUp, Tractor
from hardpan.records.prices import Crop, PriceTable
from hardpan.records.rules import Rule
from hardpan.records.soils import Reclaim, SoilType
from hardpan.run.config import Config

ROOT = Path(__file__).parents[2]
TABLES = {
    path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted((ROOT / "configs").glob("*.toml"))
}
REFERENCES = TABLES.pop("references.toml")
STANDINGS = {"common practice", "unverified", "design"}
TEXTS = [
    path
    for folder in ("pipeline/hardpan", "tests", "data/demo")
    for path in sorted((ROOT / folder).rglob("*"))
    if path.suffix == ".py"
]
UNITS = {"mm": "mm", "m": "m", "ha": "ha", "kpa": "kPa", "kmh": "km/h", "deg": "degree", "pct": "%"}
"""Last part of a setting's name to the unit it stands for."""
SHARES = ("ratio", "share", "slack", "tolerance", "theta")
"""Last part of a setting's name that needs no unit."""


def entries(table: object, place: str) -> Iterator[tuple[str, dict]]:
    """Every table that holds a value or a source, with its place."""
    if isinstance(table, dict):
        if "value" in table or "source" in table:
            yield place, table
        for key, inner in table.items():
            yield from entries(inner, f"{place}.{key}")
    elif isinstance(table, list):
        for number, inner in enumerate(table):
            yield from entries(inner, f"{place}[{number}]")


def bare_numbers(table: object, place: str) -> Iterator[str]:
    """The places of numbers outside an entry with unit and source."""
    if isinstance(table, dict):
        if "value" not in table:
            for key, inner in table.items():
                yield from bare_numbers(inner, f"{place}.{key}")
    elif isinstance(table, list):
        for number, inner in enumerate(table):
            yield from bare_numbers(inner, f"{place}[{number}]")
    elif isinstance(table, int | float) and not isinstance(table, bool):
        yield place


def settings_fields(model: type[BaseModel], place: str = "") -> Iterator[tuple[str, object]]:
    """Every field of the configuration with its place."""
    for name, field in model.model_fields.items():
        inner = field.annotation
        if isinstance(inner, type) and issubclass(inner, BaseModel):
            yield from settings_fields(inner, f"{place}{name}.")
        else:
            yield f"{place}{name}", field


ENTRIES = [found for name, table in TABLES.items() for found in entries(table, name)]
FIELDS = dict(settings_fields(Config))


@pytest.mark.parametrize("key", REFERENCES)
def test_a_reference_says_who_when_what_and_where(key):
    source = parse(Source, REFERENCES[key], file=f"references.toml [{key}]")
    assert all((source.authors, source.year, source.title, source.where))


def test_every_number_of_the_tables_has_unit_and_source():
    assert [
        place for place, entry in ENTRIES if "value" in entry and not (entry.get("unit") and entry.get("source"))
    ] == []


def test_no_number_of_the_tables_stands_outside_such_an_entry():
    # tines are counted; the intervals of a rule carry its source, in the unit their measurement's name ends on
    counted = re.compile(r"^rippers\.toml\.[\w-]+\.tines$|^rules\.toml\.rule\[\d+\]\.when\.")
    loose = [place for name, table in TABLES.items() for place in bare_numbers(table, name)]
    assert [place for place in loose if not counted.search(place)] == []


def test_every_source_of_the_tables_is_known():
    assert {entry["source"] for _, entry in ENTRIES if "source" in entry} - set(REFERENCES) <= STANDINGS


def test_every_source_of_the_settings_is_known():
    named = {name: (field.json_schema_extra or {}).get("source", "design") for name, field in FIELDS.items()}
    assert {name: source for name, source in named.items() if source not in STANDINGS | set(REFERENCES)} == {}


def test_the_unit_of_a_setting_is_the_one_its_name_ends_on():
    wrong = {}
    for name, field in FIELDS.items():
        unit, last = (field.json_schema_extra or {}).get("unit", ""), name.rsplit("_", 1)[-1]
        if last in UNITS and f"_per_{last}" not in name and unit != UNITS[last]:
            wrong[name] = unit
    assert wrong == {}


def test_a_setting_that_is_a_fraction_of_something_or_has_a_unit():
    bare = [
        name
        for name, field in FIELDS.items()
        if isinstance(field.default, float)
        and not (field.json_schema_extra or {}).get("unit")
        and not name.endswith(SHARES)
    ]
    assert bare == []


def test_every_cited_year_key_is_known():
    """A word like surname1989 or body2019-topic is a citation wherever it stands in the package or in a test."""
    cited = re.compile(r"(?<![\w./-])[a-z]{3,}(?:-[a-z]+)*(?:19|20)\d\d[a-z]?(?:-[a-z]+)*(?![\w/])")
    unknown = {}
    for path in TEXTS:
        if (
            path.name != "outputs.py" and path.parent.name != "outputs" and path != Path(__file__)
        ):  # a made-up one there
            words = set(cited.findall(path.read_text(encoding="utf-8"))) - set(REFERENCES)
            if words:
                unknown[str(path.relative_to(ROOT))] = words
    assert unknown == {}


def test_every_reference_is_cited():
    files = [*TEXTS, *(ROOT / "configs" / name for name in TABLES)]
    text = "\n".join(path.read_text(encoding="utf-8") for path in files if path != Path(__file__))
    assert [key for key in REFERENCES if not re.search(rf"(?<![\w-]){re.escape(key)}(?![\w-])", text)] == []


@pytest.mark.parametrize(
    "record", [SoilType, Reclaim, Crop, PriceTable, Tractor, Ripper, SetUp, Effort, DraftRow, Rule, Source]
)
def test_the_guide_to_the_tables_names_every_key(record):
    guide = (ROOT / "configs" / "README.md").read_text(encoding="utf-8")
    assert [key for key in record.model_fields if f"`{key}`" not in guide] == []


def test_a_published_check_names_its_source():
    silent = []
    for path in sorted((ROOT / "tests" / "published").glob("test_*.py")):
        source = path.read_text(encoding="utf-8")
        lines = source.splitlines()
        for node in ast.parse(source).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                first = min([node.lineno, *(mark.lineno for mark in node.decorator_list)]) - 1
                body = "\n".join(lines[first : node.end_lineno]) + (ast.get_docstring(ast.parse(source)) or "")
                if not any(re.search(rf"(?<![\w-]){re.escape(key)}(?![\w-])", body) for key in REFERENCES):
                    silent.append(f"{path.name}: {node.name}")
    assert silent == []
