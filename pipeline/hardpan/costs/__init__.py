"""Prices in, rates out; a plan in, a ledger out."""
