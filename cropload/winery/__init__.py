"""What arrives when, against which limit."""
