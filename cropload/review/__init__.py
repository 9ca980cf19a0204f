"""What missed, and what was learnt."""
