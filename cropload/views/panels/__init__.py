"""Panels for the workbook: each is a widget that knows its model; importing one needs no kernel."""

from cropload.views.panels.pruning_levels import PruningLevels

__all__ = ["PruningLevels"]
