"""Ground, and what is known of it, in; where to probe, in what order and what for, out."""
