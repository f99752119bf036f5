"""Numerics of random fields on plain arrays; no agronomy, opens no file."""
