"""What the notebooks of the workbook show: the only module that a notebook imports from."""

from cropload import lazy

#: Panel -> the module that holds it.
_HOME = {
    "Home": "cropload.pages.home",
    "SeasonDesk": "cropload.season.panels.season_desk",
    "SeasonFan": "cropload.season.panels.season_forecast",
    "WhatNext": "cropload.season.panels.what_next",
    "BlocksNow": "cropload.season.panels.season_forecast",
    "WhatChanged": "cropload.season.panels.season_forecast",
    "CountSheets": "cropload.season.panels.count_sheets",
    "CrewPanel": "cropload.season.panels.crew",
    "ThinningPanel": "cropload.season.panels.thinning",
    "KeptForecasts": "cropload.season.panels.season_log",
    "StageErrors": "cropload.season.panels.season_log",
    "FrostCover": "cropload.pages.frost_cover",
    "OwnerScenarios": "cropload.owner.panels.owner_scenarios",
    "PruningLevels": "cropload.pages.pruning_levels",
    "WineryIntake": "cropload.winery.panels.winery_intake",
    "ReviewDesk": "cropload.review.panels.season_review",
    "ForecastScores": "cropload.review.panels.review_scores",
    "WhatMissed": "cropload.review.panels.review_scores",
    "Lessons": "cropload.review.panels.review_lessons",
    "VineTrend": "cropload.review.panels.review_vines",
    "BudFertility": "cropload.review.panels.review_vines",
}

__getattr__, __dir__, __all__ = lazy.names(__name__, _HOME)
