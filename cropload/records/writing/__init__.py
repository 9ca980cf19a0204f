"""Write records, templates and results: every byte goes through the gate."""
