"""Pan features in, maps with uncertainty out."""
