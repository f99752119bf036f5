"""How a paddock may end: which refusals its recipe has earned, in words that a person would agree with.

A refusal that no rule names, or that the recipe has not earned, is a failure; so is a result where a refusal was due.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from whole.build import Built
from whole.faults import FAULTS
from whole.recipe import Recipe

DISPLAY_VERTICES = 9_000
"""An outline of so many comes near the usual limit of a display, 10,000."""
WEAK_KW = 100.0


@dataclass(frozen=True, kw_only=True)
class Refusal:
    """One honest line, and when it is due."""

    name: str
    says: str
    """Pattern of the line."""
    may: Callable[[Built], bool]
    """The recipe makes it right to refuse."""
    must: Callable[[Built], bool] = lambda _: False
    """The recipe makes it wrong not to."""


def _sites(built: Built) -> tuple[int, int]:
    """At how many places insertions say for certain whether there is a pan, and at how many they may.

    One that ends in soft ground says something where it passes the shallowest pan that another met; where all do, each
    says how far down there is none, however early it ends.
    """
    table = built.probes.table
    if built.recipe.spread == "spot":
        return 1, 1
    deepest = table["read_mm"].max()
    whole = table["read_mm"] >= deepest
    hard = (built.probes.kpa >= built.recipe.settings["pan"]["critical_kpa"]).any(axis=1)
    met = hard | (table["read_mm"] > table["top_mm"])
    pans = table["present"] & met
    told = whole | pans | (table["read_mm"] > table.loc[pans, "top_mm"].min()) | ~table["present"].any()
    return table.loc[whole, "site"].nunique(), table.loc[told, "site"].nunique()


def _engine_kw(recipe: Recipe) -> float:
    tractor = recipe.settings["machine"]["tractor"]
    return tractor["engine_power"] if isinstance(tractor, dict) else WEAK_KW


def _unexplained(recipe: Recipe) -> bool:
    return recipe.soil_labels == "unknown" and recipe.soils > 0 and recipe.default_type is None


def _parts_named(recipe: Recipe) -> bool:
    """Whether parts are features that their format names, and nobody asks for all of them."""
    return recipe.split and recipe.parts > 1 and recipe.boundary_format == "kml" and not recipe.together


REFUSALS = (
    Refusal(
        name="fewer than three places",
        says=r"[012] probe sites? can be used|usable insertions lie at [12] place|[012] of \d+ insertions can be used",
        may=lambda built: _sites(built)[0] < 3,
        must=lambda built: _sites(built)[1] < 3,
    ),
    Refusal(
        name="no pan, and too few read deep enough to say there is none",
        says="no insertion shows a pan at the threshold .* and only [012] of",
        may=lambda built: _sites(built)[0] < 3,
    ),
    Refusal(
        name="a tractor that is too weak",
        says="cannot pull one tine|no remaining value is known for a tractor",
        may=lambda built: _engine_kw(built.recipe) < WEAK_KW,
        must=lambda built: _engine_kw(built.recipe) < 25.0,
    ),
    Refusal(
        name="soil labels that nobody explains",
        says="soil labels .* are no types of the catalog",
        may=lambda built: _unexplained(built.recipe),
        must=lambda built: _unexplained(built.recipe),
    ),
    Refusal(
        name="several named features, one is to be chosen",
        says="holds [234] features: .*name one in paddock.boundary_feature",
        may=lambda built: _parts_named(built.recipe),
        must=lambda built: _parts_named(built.recipe),
    ),
)


KEPT_CLEAR_HA = 1.5
"""So much ground around an exclusion is kept clear at most, with what tines need to rise beside it."""

LATE = (
    Refusal(
        name="exclusions and the ground in which tines rise leave nothing",
        says=r"exclusions, kept clear by [\d.]+ m, (cover the whole paddock|leave \d+ m2)",
        may=lambda built: KEPT_CLEAR_HA * len(built.recipe.exclusions) >= built.open_ha,
    ),
    Refusal(
        name="the plan is more than the display takes",
        says="the plan has [0-9]+ (polygons|vertices)",
        may=lambda built: (
            any(key.startswith("max_") for key in built.recipe.settings["outputs"])
            or built.recipe.vertices > DISPLAY_VERTICES
        ),
    ),
    Refusal(
        name="the task grid that was asked for is too coarse",
        says="a task grid of .* cells is .* off in the hectares",
        may=lambda built: "grid_cell_m" in built.recipe.settings["outputs"],
    ),
    Refusal(
        name="the task grid is too coarse for a zone or a check strip",
        says="a task grid of .* cells has none for zone",
        may=lambda built: bool({"grid_cell_m", "max_grid_side"} & built.recipe.settings["outputs"].keys()),
    ),
)
"""Refusals that only a plan can earn: `check` cannot know them, nor how fast, and so how far, tines go while they
rise."""


def judge(built: Built, code: int, said: Sequence[str]) -> tuple[str, str]:
    """The name of an ending and what is wrong with it, "" where it is well; every line of a list must be earned."""
    if code == 2 and not said:
        return "unknown refusal", "no line"
    fault = FAULTS[built.recipe.fault] if built.recipe.fault else None
    others = [line for line in said if fault is None or not re.search(fault.says, line)]
    if fault is not None and (code != 2 or len(others) == len(said)):
        return built.recipe.fault, f"{code}: {' / '.join(said)}"
    due = [one.name for one in REFUSALS if one.must(built)]
    if code == 0:
        return "all files read back", f"should have been refused: {due[0]}" if due else ""
    if code != 2:
        return "fault", " / ".join(said)
    named = [(line, next((one for one in (*REFUSALS, *LATE) if re.search(one.says, line)), None)) for line in others]
    wrong = [f"not earned: {line}" for line, one in named if one is None or not one.may(built)]
    first = named[0][1] if named else None
    name = built.recipe.fault or ("unknown refusal" if first is None else first.name)
    return name, "; ".join(wrong)
