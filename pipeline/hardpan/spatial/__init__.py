"""Numerics on plain arrays; no agronomy, opens no file."""
