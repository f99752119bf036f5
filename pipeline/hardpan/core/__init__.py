"""Words that every room may use: errors, units, array types, the base of all settings."""
