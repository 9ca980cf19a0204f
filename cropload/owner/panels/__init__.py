"""Panels of this question."""
