"""Say which seasons are left out and why, those of one reason together."""

from cropload.clock import season_ranges


def seasons_left_out(reasons):
    """Return a note for each reason, with all the seasons it holds for.

    Parameters
    ----------
    reasons : mapping
        Year of harvest -> why it cannot be used; a leading "season 2021: " is taken off.

    Examples
    --------
    >>> seasons_left_out({2020: "season 2020: no weather", 2021: "season 2021: no weather"})
    ['seasons 2020-2021 left out: no weather']
    """
    grouped = {}
    for season, reason in reasons.items():
        grouped.setdefault(str(reason).removeprefix(f"season {season}: "), []).append(season)
    return [
        f"season{'s' if len(seasons) > 1 else ''} {season_ranges(seasons)} left out: {reason}"
        for reason, seasons in grouped.items()
    ]
