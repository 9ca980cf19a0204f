"""What looks wrong in records that break no rule."""
