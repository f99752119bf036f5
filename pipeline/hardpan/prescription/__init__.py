"""Zones in, a plan out: loosening, effort, limits, set-up, depth."""
