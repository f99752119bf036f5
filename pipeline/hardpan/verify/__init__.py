"""Insertions after the pass in, whether the pan was broken out."""
