"""Parts that all panels share."""
