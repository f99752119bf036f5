"""Puts the rooms in order; does no science."""
