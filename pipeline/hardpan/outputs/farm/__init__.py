"""The files that tell of many paddocks: table, zones, sums, page."""
