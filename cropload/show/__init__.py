"""How an answer is said, tabled, drawn and printed, whatever the question."""
