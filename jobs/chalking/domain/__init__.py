"""Pure calculation: sun on walls, growth of chalk, dates. NumPy, SciPy and pvlib; no rows, no clock."""
