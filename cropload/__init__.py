"""Compare winter pruning levels of a vineyard block, from buds to tonnes, with honest ranges.

The public names load on first use, so that ``import cropload`` and ``cropload --help`` stay quick.
"""

from importlib import import_module

__version__ = "0.1.0"

#: Public name -> the module that holds it.
_HOME = {
    "balanced_buds": "cropload.vine.balanced_pruning",
    "ravaz_index": "cropload.vine.balance",
    "replacement_buds": "cropload.vine.bud_damage",
    "mean_from_sample": "cropload.forecasting.counting",
    "sample_size": "cropload.decisions.sampling",
    "PruningPlan": "cropload.vine.plan",
    "compare_plans": "cropload.decisions.compare",
    "example_records": "cropload.records.example",
    "find_plans": "cropload.decisions.find_plan",
    "after_frost": "cropload.decisions.after_frost",
    "frost_cover": "cropload.decisions.frost_cover",
    "with_frost": "cropload.decisions.frost_cover",
    "frost_survival": "cropload.vine.frost",
    "replay_frost": "cropload.decisions.frost_replay",
    "review_season": "cropload.decisions.review",
    "learn": "cropload.decisions.learning",
    "accept": "cropload.decisions.accepting",
    "bud_fertility": "cropload.decisions.bud_fertility",
    "vine_trend": "cropload.decisions.vine_trend",
    "harvest_dates": "cropload.forecasting.harvest_dates",
    "intake_schedule": "cropload.decisions.intake",
    "Forecast": "cropload.forecasting.result",
    "forecast": "cropload.forecasting.season",
    "Records": "cropload.records.reading",
    "RecordsError": "cropload.records.messages",
    "read_records": "cropload.records.reading",
    "write_template": "cropload.records.writing",
    "vines_per_hectare": "cropload.units",
}

__all__ = sorted(_HOME)


def __getattr__(name):
    """Load a public name from its module on first use."""
    try:
        home = _HOME[name]
    except KeyError:
        raise AttributeError(f"module 'cropload' has no attribute {name!r}") from None
    found = getattr(import_module(home), name)
    globals()[name] = found
    return found


def __dir__():
    return sorted([*globals(), *__all__])
