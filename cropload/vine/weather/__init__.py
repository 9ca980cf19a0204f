"""Heat, stages and frost of a vine."""
