"""Decisions: reductions of the forecast draws that answer one question each."""
