"""Machines at work on one paddock in, how they compare out."""
