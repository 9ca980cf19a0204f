"""What the notebooks of the workbook show: the only module that a notebook imports from."""

from cropload import lazy

#: Panel -> the module that holds it.
_HOME = {
    "CountingAndForecast": "cropload.season.panels.counting_and_forecast",
    "Home": "cropload.pages.home",
    "FrostCover": "cropload.pages.frost_cover",
    "OwnerScenarios": "cropload.owner.panels.owner_scenarios",
    "PruningLevels": "cropload.pages.pruning_levels",
<<<<<<< HEAD
    "WineryIntake": "cropload.winery.panels.winery_intake",
    "ReviewDesk": "cropload.review.panels.season_review",
    "ForecastScores": "cropload.review.panels.review_scores",
    "WhatMissed": "cropload.review.panels.review_scores",
    "Lessons": "cropload.review.panels.review_lessons",
    "VineTrend": "cropload.review.panels.review_vines",
    "BudFertility": "cropload.review.panels.review_vines",
=======
    "SeasonReview": "cropload.review.panels.season_review",
    "WineryDesk": "cropload.winery.panels.winery_desk",
    "PickingDates": "cropload.winery.panels.winery_desk",
    "IntakeNow": "cropload.winery.panels.winery_intake",
    "BlocksToMove": "cropload.winery.panels.winery_intake",
    "Contracts": "cropload.winery.panels.winery_terms",
    "SinceLast": "cropload.winery.panels.winery_terms",
>>>>>>> pages1
}

__getattr__, __dir__, __all__ = lazy.names(__name__, _HOME)
