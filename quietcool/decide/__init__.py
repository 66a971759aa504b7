"""Which speeds: the quietest setting, what it is worth, and a bound on every other."""
