"""Profiles in, pan features with censoring out."""
