"""Records made by hand, for tests: `records` for single ones, the rest for whole paddocks as one room sees them."""
