"""A lower bound on the level of every setting that keeps the limits."""
