"""Sites to probe in, the files to walk with out."""
