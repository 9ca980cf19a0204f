"""The forecast: components with shared season parts, and what counts do to them."""
