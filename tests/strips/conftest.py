"""The plan made by hand that the strips' tests share."""

from builders.outputs import (  # noqa: F401 - fixtures
    catalog,
    ledger,
    options,
    pan,
    plan,
    run,
    surfaces,
    survey,
    unripped,
    words,
    zones,
)
