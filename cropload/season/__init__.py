"""What hangs, what to count, what to thin."""
