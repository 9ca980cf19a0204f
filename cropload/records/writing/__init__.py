"""Writing records, templates and copies."""
