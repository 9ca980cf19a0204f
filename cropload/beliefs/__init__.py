"""What is known of every block, and how surely."""
