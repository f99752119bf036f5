"""Two results of one paddock in, what changed and why out."""
