"""How much sun each wall gets."""
