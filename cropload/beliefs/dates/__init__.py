"""When stages are reached and blocks are picked."""
