"""What longer wood is worth, and what a night did."""
