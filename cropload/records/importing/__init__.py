"""Bring a workbook or tables of the user's own into a season folder."""
