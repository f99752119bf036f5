"""A trial's files: tables, response for the next plan, page, provenance."""
