"""What the notebooks of the workbook show: the only module that a notebook imports from."""

from cropload import lazy

#: Page -> the module that holds it.
_HOME = {
    "CountingAndForecast": "cropload.season.panels.counting_and_forecast",
    "Home": "cropload.pages.home",
    "FrostCover": "cropload.pages.frost_cover",
    "ImportRecords": "cropload.pages.import_records",
    "OwnerScenarios": "cropload.owner.panels.owner_scenarios",
    "PruningLevels": "cropload.pages.pruning_levels",
    "SeasonReview": "cropload.review.panels.season_review",
    "WineryIntake": "cropload.winery.panels.winery_intake",
}

#: What the methods notebook shows.
_METHODS = (
    "Try figures glossary honest_picture how_graded how_honest most_moving new_load one_count "
    "one_night one_vine published second_eyes style"
)
_HOME |= dict.fromkeys(_METHODS.split(), "cropload.pages.methods")

#: Page -> the parts of earlier versions that it holds now.
_HOLDS = {
    "CountingAndForecast": "BlocksNow CountSheets CrewPanel KeptForecasts SeasonDesk SeasonFan "
    "StageErrors ThinningPanel WhatChanged WhatNext",
    "SeasonReview": "BudFertility ForecastScores Lessons ReviewDesk VineTrend WhatMissed",
    "WineryIntake": "BlocksToMove Contracts IntakeNow PickingDates SinceLast WineryDesk",
}
_GONE = {old: page for page, names in _HOLDS.items() for old in names.split()}

__getattr__, __dir__, __all__ = lazy.names(__name__, _HOME, _GONE)
