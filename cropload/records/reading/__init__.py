"""Reading what a user wrote, from files to checked tables."""
