"""Names of new sites, which go on from those that are there."""

import re
from collections import Counter
from collections.abc import Sequence

PREFIX = "P"


def next_names(count: int, taken: Sequence[str]) -> tuple[str, ...]:
    """`count` names after the highest number of the commonest prefix in `taken`, as wide as those are written.

    Examples
    --------
    >>> next_names(2, ["A1", "S008", "S009", "spare"])
    ('S010', 'S011')
    >>> next_names(2, [])
    ('P01', 'P02')
    """
    numbered = [found.groups() for name in sorted(taken) if (found := re.fullmatch(r"(\D*)(\d+)", name))]
    if not numbered:
        width = max(2, len(str(count)))
        return tuple(f"{PREFIX}{number:0{width}d}" for number in range(1, count + 1))
    counts = Counter(prefix for prefix, _ in numbered)
    prefix = min(counts, key=lambda one: (-counts[one], one))
    digits = [number for one, number in numbered if one == prefix]
    last, width = max(map(int, digits)), min(map(len, digits))
    return tuple(f"{prefix}{last + number:0{width}d}" for number in range(1, count + 1))
