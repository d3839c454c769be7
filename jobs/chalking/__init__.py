"""How much sun each wall gets, how its chalk grows with it, and when it passes the owner's limit."""
