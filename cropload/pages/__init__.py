"""The pages, the command line and their opening."""
