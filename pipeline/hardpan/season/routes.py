"""The best route of a rig for given prices of paddocks: plain loops, run as they stand or compiled (`compiled`).

Time is cut into steps. A rig comes to a paddock no later than it would, at the beginning of the step it comes in, so
that no plan is worth more than the best route. Dynamic programming (`bellman1957`) from the last step to the first.
"""

from typing import NamedTuple

from hardpan.core.arrays import Floats, Ints
from hardpan.season.loops import NOWHERE

ROUNDING_H = 1e-9


class Grid(NamedTuple):
    """Time, paddocks and moves of one rig; days are those it works on, paddocks those it can rip."""

    step_h: float
    """Less than any move takes."""
    least_h: float
    """The shortest move."""
    first_h: float
    """The first move: folding and unfolding only."""
    begin: Ints
    """First step of each day, and behind the last, (n_days + 1,)."""
    day: Ints
    """Of each step, (n_steps,)."""
    hours: Floats
    """Of each day, (n_days,)."""
    next_open: Ints
    """First day from each on, on which the paddock can be worked; `n_days` if none, (n_days + 1, n)."""
    move_h: Floats
    """From and to, (n, n)."""
    end_day: Ints
    """Day on which ripping that begins with a step ends, `NOWHERE` if on none, (n_steps, n)."""
    end_h: Floats
    """Hour of that day, (n_steps, n)."""
    waiting: Floats
    """What waiting costs where ripping begins with the step, money, (n_steps, n)."""


class Rewards(NamedTuple):
    """What a visit earns."""

    whole: Floats
    """Ripping the paddock in one visit, without waiting, money, (n,)."""
    piece: Floats
    """Coming to rip a part of it, money, (n,)."""
    per_h: Floats
    """Each hour of ripping a part, less waiting, by day, money, (n_days, n)."""
    earned: Floats
    """The same, summed over the steps before each, (n_steps + 1, n)."""


class Tables(NamedTuple):
    """Best that can still be earned, money."""

    whole: Floats
    """By one who comes with the step and rips the paddock whole, negative where that cannot be, (n_steps, n)."""
    piece: Floats
    """By one who comes with the step and rips a part of it, (n_steps, n)."""
    until: Ints
    """Step in which the latter leaves, (n_steps, n)."""
    leave: Floats
    """By one who leaves the paddock in the step, and `earned` until its end, (n_steps, n)."""
    morning: Floats
    """By one who leaves the paddock for another day, by day left, (n_days, n)."""
    ranked: Ints
    """Paddocks by the larger of `whole` and `piece`, the best first, (n_steps, n)."""
    queue: Ints
    """Steps to leave in that may yet be best, the latest and best first, (n, n_steps)."""


class Chart(NamedTuple):
    """All that routes hang on."""

    grid: Grid
    rewards: Rewards
    tables: Tables


class Turn(NamedTuple):
    """Where a rig goes next."""

    best: float
    """What it can still earn, money."""
    to: int
    """Paddock, `NOWHERE` if none is worth it."""
    step: int
    """In which it comes there."""
    late_h: float
    """After the beginning of the step, h."""


def fill(chart: Chart) -> None:
    """Fill the tables.

    The best step to leave in is a maximum over a window that slides towards the first step: a queue of those that
    no earlier one surpasses.
    """
    grid, rewards, tables = chart
    n_steps, n = tables.piece.shape
    head, tail = [0] * n, [0] * n
    for step in range(n_steps - 1, -1, -1):
        day = grid.day[step]
        last = step == grid.begin[day + 1] - 1
        hour = (step - grid.begin[day]) * grid.step_h
        for one in range(n):
            if last:
                tables.morning[day, one] = next_day(chart, day, one).best
            best = same_day(chart, day, hour, one).best
            if last:
                best = max(best, tables.morning[day, one])
            value, queue = best + rewards.earned[step + 1, one], tables.queue[one]
            tables.leave[step, one] = value
            while tail[one] > head[one] and tables.leave[queue[tail[one] - 1], one] <= value:
                tail[one] -= 1
            queue[tail[one]] = step
            tail[one] += 1
            end = last_step(grid, step, one)
            while queue[head[one]] > end:
                head[one] += 1
            tables.until[step, one] = queue[head[one]]
            earned = tables.leave[queue[head[one]], one] - rewards.earned[step, one]
            tables.piece[step, one] = max(0.0, rewards.piece[one] + earned)
            tables.whole[step, one] = ripped_whole(chart, step, one)
        rank(tables, step)


def last_step(grid: Grid, step: int, one: int) -> int:
    """Last step a part can be ripped in by one who comes in `step`, however late in it."""
    if step + 1 == len(grid.day) or grid.end_day[step + 1, one] == NOWHERE:
        return len(grid.day) - 1
    day = grid.end_day[step + 1, one]
    return int(min(grid.begin[day] + int(grid.end_h[step + 1, one] / grid.step_h), grid.begin[day + 1] - 1))


def ripped_whole(chart: Chart, step: int, one: int) -> float:
    """Best that can be earned by one who comes with `step` and rips the paddock whole; -1 where that cannot be."""
    grid, rewards = chart.grid, chart.rewards
    day = grid.end_day[step, one]
    if day == NOWHERE:
        return -1.0
    onward = after(chart, day, grid.end_h[step, one], one).best
    return float(rewards.whole[one] - grid.waiting[step, one] + onward)


def after(chart: Chart, day: int, hour: float, one: int) -> Turn:
    """Where one goes best who leaves a paddock at an hour."""
    turn = same_day(chart, day, hour, one)
    return next_day(chart, day, one) if chart.tables.morning[day, one] > turn.best else turn


def same_day(chart: Chart, day: int, hour: float, one: int) -> Turn:
    """As `after`, for moves on the same day; paddocks are tried in the order of what they could earn at most."""
    grid, tables = chart.grid, chart.tables
    turn = Turn(0.0, NOWHERE, NOWHERE, 0.0)
    left, last = grid.hours[day] - hour + ROUNDING_H, grid.begin[day + 1] - 1
    if left < grid.least_h:
        return turn
    soonest = min(grid.begin[day] + int((hour + grid.least_h) / grid.step_h), last)
    for other in tables.ranked[soonest]:
        if max(tables.whole[soonest, other], tables.piece[soonest, other]) <= turn.best:
            break
        if other != one and grid.move_h[one, other] <= left and grid.next_open[day, other] == day:
            turn = better(chart, turn, other, day, hour + grid.move_h[one, other])
    return turn


def better(chart: Chart, turn: Turn, other: int, day: int, hour: float) -> Turn:
    """The turn, or that to another paddock, come to at an hour, where it earns more.

    A part is ripped so much less as one comes late in the step; the whole is taken to be begun with the step.
    """
    grid, rewards, tables = chart
    step = min(grid.begin[day] + int(hour / grid.step_h), grid.begin[day + 1] - 1)
    late_h = max(0.0, hour - (step - grid.begin[day]) * grid.step_h)
    best = max(tables.whole[step, other], tables.piece[step, other] - late_h * rewards.per_h[day, other])
    return Turn(best, other, step, late_h) if best > turn.best else turn


def next_day(chart: Chart, day: int, one: int) -> Turn:
    """As `after`, for moves in the morning of a later day."""
    grid, turn = chart.grid, Turn(0.0, NOWHERE, NOWHERE, 0.0)
    for other in range(len(grid.move_h)):
        if other != one:
            turn = some_morning(chart, turn, other, day + 1, grid.move_h[one, other])
    return turn


def some_morning(chart: Chart, turn: Turn, other: int, day: int, move_h: float) -> Turn:
    """As `better`, by a move in the morning of the first day from `day` on that allows it."""
    grid = chart.grid
    day = grid.next_open[day, other]
    while day < len(grid.hours) and move_h > grid.hours[day]:
        day = grid.next_open[day + 1, other]
    return turn if day == len(grid.hours) else better(chart, turn, other, day, move_h)


def rank(tables: Tables, step: int) -> None:
    """Rank the paddocks of a step, beginning with the order of the step behind it."""
    n_steps, n = tables.piece.shape
    ranked = tables.ranked[step]
    best = [max(tables.whole[step, one], tables.piece[step, one]) for one in range(n)]
    for place in range(n):
        ranked[place] = tables.ranked[step + 1, place] if step + 1 < n_steps else place
    for place in range(1, n):
        one, at = ranked[place], place
        while at > 0 and best[ranked[at - 1]] < best[one]:
            ranked[at] = ranked[at - 1]
            at -= 1
        ranked[at] = one


def follow(chart: Chart, visits: Floats) -> tuple[float, int]:
    """What the best route earns, and the number of its visits.

    Each is noted in `visits`: paddock, step come in, step left (`NOWHERE` where it is ripped whole), and how late in
    the step the rig comes, h.
    """
    grid, rewards, tables = chart
    turn, count = Turn(0.0, NOWHERE, NOWHERE, 0.0), 0
    for other in range(tables.piece.shape[1]):
        turn = some_morning(chart, turn, other, 0, grid.first_h)
    total = turn.best
    while turn.to != NOWHERE:
        one, step = turn.to, turn.step
        part = tables.piece[step, one] - turn.late_h * rewards.per_h[grid.day[step], one]
        whole = tables.whole[step, one] >= part
        until = NOWHERE if whole else tables.until[step, one]
        visits[count, 0], visits[count, 1], visits[count, 2], visits[count, 3] = one, step, until, turn.late_h
        count += 1
        if whole:
            turn = after(chart, grid.end_day[step, one], grid.end_h[step, one], one)
            continue
        day = grid.day[until]
        turn = same_day(chart, day, (until - grid.begin[day]) * grid.step_h, one)
        if until == grid.begin[day + 1] - 1 and tables.morning[day, one] > turn.best:
            turn = next_day(chart, day, one)
    return total, count


def price(chart: Chart, visits: Floats) -> tuple[float, int]:
    """What the best route earns, money, and the number of its `visits`, as `follow`."""
    fill(chart)
    return follow(chart, visits)
