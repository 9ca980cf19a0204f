"""How many canes and buds to leave."""
