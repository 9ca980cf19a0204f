"""What others published, beside what is computed here: what a doubter can hold the tool against."""
