"""Commands of the evidence."""
