"""Things in a row."""

from collections.abc import Sequence


def zone_names(numbers: Sequence[object]) -> str:
    """Numbers of zones as a place to look up.

    >>> zone_names([4]), zone_names([4, 6])
    ('zone 4', 'zones 4, 6')
    """
    return f"zone{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"


def either(things: Sequence[str]) -> str:
    """Things with "or" before the last.

    >>> either(["wings", "closer tines", "both"])
    'wings, closer tines or both'
    """
    return things[0] if len(things) == 1 else f"{', '.join(things[:-1])} or {things[-1]}"
