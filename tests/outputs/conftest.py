"""The run made by hand that the outputs' tests share."""

from builders.outputs import (  # noqa: F401 - fixtures
    catalog,
    ledger,
    options,
    pan,
    plan,
    run,
    surfaces,
    survey,
    told,
    unripped,
    words,
    zones,
)
