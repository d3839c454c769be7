"""Which leads to take while crew-hours are scarce, and how often people say yes at which price."""
