"""Files in, a checked survey out."""
