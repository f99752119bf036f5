"""Harvest of ripped and unripped strips in; what ripping gave, and the response it leaves for the next plan, out."""
