"""What the demo is made of: pure, drawn from a `random.Random` that is passed in, dated from a date passed in."""
