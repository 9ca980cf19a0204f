"""Views: figures, panels, cards and reports. Nothing else draws or shows."""
