"""What the notebooks of the workbook show: the only module that a notebook imports from."""

from cropload import lazy

#: Panel -> the module that holds it.
_HOME = {
    "CountingAndForecast": "cropload.season.panels.counting_and_forecast",
    "Home": "cropload.pages.home",
    "FrostCover": "cropload.frost.panels.frost_cover",
    "OwnerScenarios": "cropload.owner.panels.owner_scenarios",
    "PruningLevels": "cropload.pages.pruning_levels",
    "SeasonReview": "cropload.review.panels.season_review",
    "WineryDesk": "cropload.winery.panels.winery_desk",
    "PickingDates": "cropload.winery.panels.winery_desk",
    "IntakeNow": "cropload.winery.panels.winery_intake",
    "BlocksToMove": "cropload.winery.panels.winery_intake",
    "Contracts": "cropload.winery.panels.winery_terms",
    "SinceLast": "cropload.winery.panels.winery_terms",
}

__getattr__, __dir__, __all__ = lazy.names(__name__, _HOME)
