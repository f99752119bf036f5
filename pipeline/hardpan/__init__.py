"""Compaction zones and variable-depth ripping prescriptions from cone-penetrometer readings."""

__version__ = "0.1.0"
