"""Pure calculation: the sun on walls. NumPy and pvlib; no rows, no clock."""
