"""Pure formulas of the trade: arrays in, arrays out, SI units; modules here do not import one another."""
