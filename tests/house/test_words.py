"""Sentences are made last, in outputs/words, and nothing ever reads them back."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "pipeline" / "hardpan"
WORDS = ROOT / "outputs" / "words"
SOURCES = sorted(path for path in ROOT.rglob("*.py"))
BEFORE_OUTPUTS = [
    path
    for path in SOURCES
    if path.relative_to(ROOT).parts[0]
    in {"spatial", "geostat", "pan", "surfaces", "money", "options", "zones", "prescription", "costs"}
    and path.stem != "remarks"
]
"""The modules of the rooms before outputs, but for those of which every text is a remark."""
TOLD = {
    "advice", "barred", "brief", "done", "headline", "hiring", "not_fixed", "reason", "runner_up", "says", "sentence",
    "unmended", "verdict", "what", "why", "why_not", "will_not_fix", "would_change",
}  # fmt: skip
"""Names of what people read, or of the records that became it."""
READING = {"startswith", "endswith", "find", "index", "count", "removeprefix", "removesuffix", "partition", "split"}
SEARCHING = {"sub", "search", "match", "fullmatch", "findall", "finditer", "split"}


FOREIGN = {("repairs", "why.split")}
"""What a library tells in words only: the geometry library, where a polygon is invalid."""


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def name_of(node: ast.expr) -> str:
    """Last name of `reason`, `zone.reason` or `zone["reason"]`, also within str(...)."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "str" and node.args:
        return name_of(node.args[0])
    if isinstance(node, ast.Subscript):
        return str(node.slice.value) if isinstance(node.slice, ast.Constant) else name_of(node.value)
    if isinstance(node, ast.Attribute):
        return name_of(node.value) if node.attr == "str" else node.attr
    return node.id if isinstance(node, ast.Name) else ""


def is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def readings(module: ast.Module) -> list[str]:
    """Every place where a module looks into something told: `"x" in why`, `why.startswith(...)`, `re.sub(..., why)`."""
    found = []
    for node in ast.walk(module):
        if isinstance(node, ast.Compare) and type(node.ops[0]).__name__.endswith("In"):
            if is_text(node.left) and name_of(node.comparators[0]) in TOLD:
                found.append(f"line {node.lineno}: in {name_of(node.comparators[0])}")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            name, method = name_of(node.func.value), node.func.attr
            if method in READING and name in TOLD:
                found.append(f"line {node.lineno}: {name}.{method}")
            if name == "re" and method in SEARCHING and any(name_of(argument) in TOLD for argument in node.args):
                found.append(f"line {node.lineno}: re.{method}")
    return found


@pytest.mark.parametrize(
    "code",
    [
        'x = "clay" in barred',
        'x = "clay" not in zone["reason"]',
        "x = story.reason.startswith(head)",
        'x = str(zone["reason"]).startswith(head)',
        'x = table["why"].str.endswith(".")',
        'x = re.sub("mm", "in", headline)',
    ],
)
def test_the_check_itself_sees_a_sentence_that_is_read(code):
    assert readings(ast.parse(code))


@pytest.mark.parametrize("path", [p for p in SOURCES if WORDS not in p.parents], ids=lambda p: str(p.relative_to(ROOT)))
def test_no_module_outside_words_looks_into_a_sentence(path):
    found = readings(tree(path))
    assert [one for one in found if (path.stem, one.rpartition(" ")[2]) not in FOREIGN] == []


@pytest.mark.parametrize("path", sorted(WORDS.rglob("*.py")), ids=lambda p: str(p.relative_to(WORDS)))
def test_words_have_no_regular_expression(path):
    assert not re.search(r"^(import re\b|from re\b)", path.read_text(encoding="utf-8"), re.MULTILINE)


SENTENCE = re.compile(r"[a-z,]+ [a-z]+ [a-z]+ [a-z]+ [a-z]+")
"""Five words in a row; names and codes are shorter."""


def may_speak(node: ast.AST) -> bool:
    """Whether English may stand within: errors, remarks, the log, descriptions of settings, and what makes remarks."""
    if isinstance(node, ast.Call):
        if isinstance(node.func, ast.Attribute) and name_of(node.func.value) == "logger":
            return True
        return name_of(node.func).endswith(("Error", "Issue")) or name_of(node.func) == "setting"
    if isinstance(node, ast.FunctionDef):
        gives = "" if node.returns is None else ast.unparse(node.returns)
        return "Issue" in gives or "Told" in gives or any(isinstance(one, ast.Raise) for one in ast.walk(node))
    return False


def spoken(module: ast.Module) -> set[ast.AST]:
    """Everything within such places, and documentation: an expression that stands alone."""
    free: set[ast.AST] = set()
    for node in ast.walk(module):
        if may_speak(node):
            free |= set(ast.walk(node))
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            free.add(node.value)
    return free


@pytest.mark.parametrize("path", BEFORE_OUTPUTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_room_before_outputs_speaks_english_but_in_errors_and_remarks(path):
    module = tree(path)
    free = spoken(module)
    texts = [
        node.value
        for node in ast.walk(module)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in free
    ]
    assert [text for text in texts if SENTENCE.search(text)] == []


def test_the_check_itself_sees_english_in_a_room():
    module = ast.parse('def why(depth):\n    return f"the tines go no deeper than {depth}"\n')
    assert any(
        isinstance(node, ast.Constant) and SENTENCE.search(node.value)
        for node in set(ast.walk(module)) - spoken(module)
    )
