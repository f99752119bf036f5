"""The reason of each zone, and what would change it, in words a grower reads aloud."""

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What is known of one zone when its sentence is written."""

    soil: str
    depth_mm: int
    """0: left."""
    setup: str
    """Name for people, "" where left."""
    bottom_mm: tuple[float, float, float]
    """Mean, 5 and 95 % of the pan's bottom where there is one; NaN where there never is."""
    chance: float
    """Probability of a pan, mean over the zone."""
    net: float
    """Expected net return per ha of what was chosen."""
    currency: str
    responds: bool
    note: str
    """Why the soil does not respond."""
    clay_mm: float
    """Mean depth to clay; infinite where none is in reach or known."""
    held: str
    """Limit that held the depth, a clause with its figure; "" where none did."""
    asked_by: str
    """Constraint for which the set-up taken is credited with more gain, "" where none."""
    tines: int
    all_tines: int
    passes: int
    held_by: str
    """What the machine was short of."""
    slow_kmh: float = math.nan
    """Speed, where what the machine is short of keeps a pass in the slower half of its speed window; NaN elsewhere."""
    deeper: str = ""
    """What the machine is short of a step deeper, a clause; "" where it goes on as it does."""
    instead: "Alternative | None"
    """Option with the set-ups fitted that brings most for its cost; with any, where `barred`; None: none is allowed."""
    barred: str
    """What forbids the set-ups fitted on this ground, a clause; "" where nothing does."""
    other_pays: bool
    """Another set-up than those fitted would pay here."""
    covered: float
    """Share of the zone where the foot passes below the pan, or there is none."""
    cover_share: float | None
    """Share asked for under the rule `cover`; None under `return`."""
    coverable: float = 1.0
    """Largest share that any depth allowed covers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """An option that was not taken."""

    depth_mm: int
    setup: str
    cost: float
    """Expected cost per ha."""
    gain: float
    """Expected worth per ha of what it breaks."""
    held: str = ""
    """Limit but for which ripping would pay, a clause with its figure; "" where none."""


def reason(story: Story) -> str:
    """Give why the zone is worked as it is, one sentence."""
    return _why_ripped(story) if story.depth_mm > 0 else _why_left(story)


def closed(name: str, kept_m: Mapping[str, float]) -> str:
    """Give why an exclusion is not ripped, with the strip kept around it."""
    around = f", with {kept_m[name]:g} m kept around it" if kept_m.get(name, 0.0) > 0 else ""
    return f"Not ripped: {name} is excluded{around}."


def option_text(depth_mm: int, setup: str) -> str:
    """Give an option in words."""
    return f"{depth_mm} mm with {setup}" if depth_mm > 0 else "leaving it unripped"


def _why_ripped(story: Story) -> str:
    head = f"Rip to {story.depth_mm} mm with {story.setup}"
    if story.asked_by:
        head += f" ({story.asked_by})"
    return f"{head}: {_pan(story)}{_limit(story)}, and {_pays(story)}{_machine(story)}."


def _pan(story: Story) -> str:
    middle, low, high = (5 * round(edge / 5) for edge in story.bottom_mm)
    if story.chance < 0.8:
        return (
            f"where there is a pan ({story.chance:.0%} of the ground) it ends at {middle} mm (likely {low} to {high})"
        )
    return f"the pan ends at {middle} mm (likely {low} to {high})"


def _limit(story: Story) -> str:
    """Give what held the depth, or why it stops short of the pan's bottom or goes well beyond it."""
    bottom_mm = story.bottom_mm[0]
    if story.held:
        return f", {story.held}"
    if story.clay_mm <= story.depth_mm + 100 and bottom_mm > story.depth_mm:
        return f", the clay, where nothing more is gained, begins at about {_tens(story.clay_mm)} mm"
    if story.cover_share is not None:
        return ""
    if bottom_mm > story.depth_mm:
        return ", going deeper costs more than it brings" + (f", as {story.deeper}" if story.deeper else "")
    if story.depth_mm > bottom_mm + 50:
        return ", the tines run below it so that it breaks between them as well"
    return ""


def _pays(story: Story) -> str:
    money = f"{abs(story.net):.0f} {story.currency}/ha"
    if story.cover_share is None:
        return f"breaking it returns about {money} more than it costs"
    short = f" (short of the {story.cover_share:.0%} asked for)" if story.covered < story.cover_share else ""
    pays, than = ("returns", "costs") if story.net >= 0 else ("costs", "returns")
    below = f"this depth passes below it on {story.covered:.0%} of the ground{short}"
    return f"{below} and {pays} about {money} more than it {than}"


def _machine(story: Story) -> str:
    if story.passes > 1:
        return f"; in two passes, because {story.held_by} does not allow it in one"
    if story.tines < story.all_tines:
        return f"; with {story.tines} of {story.all_tines} tines, because {story.held_by} allows no more"
    if story.slow_kmh > 0:
        return f"; at {story.slow_kmh:g} km/h, because {story.held_by} allows no faster"
    return ""


def _why_left(story: Story) -> str:
    if not story.responds:
        why = f" ({story.note})" if story.note else ""
        return f"Leave unripped: ripping is not expected to pay on {story.soil}{why}."
    if story.cover_share is not None and story.covered >= story.cover_share:
        return f"Leave unripped: no pan is expected on {story.covered:.0%} of it."
    if story.instead is None:
        return f"Leave unripped: {story.barred}."
    return f"Leave unripped: {_what_it_would_bring(story, story.instead)}."


def _what_it_would_bring(story: Story, best: Alternative) -> str:
    if story.cover_share is not None:
        held = f"; {best.held}" if best.held else ""
        return f"no depth allowed passes below the pan on more than {story.coverable:.0%} of it{held}"
    currency = story.currency
    gain = round(best.gain)
    brings = (
        f"bring {gain} {currency}/ha"
        if gain > 0
        else f"take {-gain} {currency}/ha of grain"
        if gain
        else "bring nothing"
    )
    money = f"would cost about {best.cost:.0f} {currency}/ha and {brings}"
    loss = f"even the depth that brings most for its cost, {option_text(best.depth_mm, best.setup)}, {money}"
    if best.gain > best.cost:
        loss = loss.removeprefix("even ")
    if best.held:
        loss += f"; {best.held}"
    if story.barred:
        loss = f"the set-up of the rest of the paddock is barred ({story.barred}); with another, {loss}"
    elif story.other_pays:
        loss += "; another set-up would pay, but the ripper is fitted for the rest of the paddock"
    if story.chance < 0.5:
        return f"a pan is expected on only {story.chance:.0%} of it, and {loss}"
    return loss


def would_change(
    *,
    share_better: float,
    other: str,
    bottom_mm: float | None,
    deeper: bool,
    probes: int,
    needed_t_per_ha: float,
    pays: bool,
) -> str:
    """Give what new information would turn the choice where ground is ripped.

    Parameters
    ----------
    share_better : float
        Share of the draws in which the runner-up returns more.
    other : str
        The runner-up in words.
    bottom_mm : float or None
        Pan bottom beyond which the runner-up wins in most draws; None where the bottom does not decide.
    deeper : bool
        The runner-up wins when the bottom is deeper (else shallower) than that.
    probes : int
        How many more probe sites would settle it.
    needed_t_per_ha : float
        First-season gain that just pays the pass.
    pays : bool
        It does as expected; under the rule `cover` it need not.
    """
    loss = f"a first-season gain below {needed_t_per_ha:.2f} t/ha would make it a loss"
    if not pays:
        loss = gain_to_pay(needed_t_per_ha)
    odds = f"{other} has a {share_better:.0%} chance of returning more"
    if bottom_mm is None:
        return f"{loss}; {odds}" if round(100 * share_better) else loss
    side = "below" if deeper else "above"
    more = f"{probes} more probe{'s' if probes > 1 else ''} here would tell"
    return f"a pan bottom {side} {5 * round(bottom_mm / 5)} mm would favour {other} ({more}); {loss}"


SECOND_SET_UP = "fitting a second set-up for this ground (setups_per_paddock), or ripping it another time"
"""What would turn the choice where only the set-up of the rest of the paddock stands in the way."""


DEEPER = "a ripper or limits that let the tines go deeper, or a smaller share to cover (least_cover_share)"
"""What would turn the choice where no depth covers enough of the ground."""

NOTHING_ELSE = "no other choice is open here"
"""Next best choice where there is no other."""


def would_unbar(barred: str) -> str:
    """Give what would open ground on which a limit bars every depth."""
    if "clay" in barred:
        return "clay found deeper than the map and the cores say"
    return "soil found moist to the working depth" if "moist" in barred else "a machine without that limit"


def gain_to_pay(needed_t_per_ha: float) -> str:
    """Give what would make ripping pay on ground that is left."""
    return f"a first-season gain above {needed_t_per_ha:.2f} t/ha would make ripping pay"


def _tens(depth_mm: float) -> int:
    return 10 * round(depth_mm / 10)
