"""Zones and options in, a plan out: limits, choice, reasons."""
