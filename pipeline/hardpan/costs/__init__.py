"""A plan in, a ledger out."""
