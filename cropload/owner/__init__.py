"""Which scenario to choose."""
