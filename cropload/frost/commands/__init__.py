"""Commands of this question."""
