"""Compare winter pruning levels of a vineyard block, from buds to tonnes, with honest ranges.

The public names load on first use, so that ``import cropload`` and ``cropload --help`` stay quick.
"""

import sys

from cropload import answer, lazy

__version__ = "0.1.0"

#: Public name -> the module that holds it.
_HOME = {
    "balanced_buds": "cropload.vine.balanced_pruning",
    "balanced_table": "cropload.vine.balanced_pruning",
    "ravaz_index": "cropload.vine.balance",
    "replacement_buds": "cropload.vine.bud_damage",
    "mean_from_sample": "cropload.beliefs.counting",
    "sample_size": "cropload.season.sampling",
    "two_step_plan": "cropload.season.two_step",
    "sample_vines": "cropload.season.count_plan",
    "take_sheets": "cropload.season.take",
    "next_counts": "cropload.season.next_counts",
    "due": "cropload.season.due",
    "thin_to": "cropload.season.thinning",
    "crew_check": "cropload.season.crew_check",
    "season_days": "cropload.season.season_days",
    "forecast_fan": "cropload.season.season_days",
    "read_log": "cropload.season.forecast_log",
    "what_moved": "cropload.season.what_moved",
    "stage_errors": "cropload.season.stage_errors",
    "PruningPlan": "cropload.vine.plan",
    "compare_blocks": "cropload.pruning.compare_blocks",
    "compare_plans": "cropload.pruning.compare",
    "example_records": "cropload.records.example",
    "find_plans": "cropload.pruning.find_plan",
    "after_frost": "cropload.frost.after_frost",
    "frost_cover": "cropload.frost.cover",
    "take_weather": "cropload.frost.take_weather",
    "with_frost": "cropload.frost.cover",
    "frost_survival": "cropload.frost.survival",
    "replay_frost": "cropload.frost.replay",
    "review_season": "cropload.review.review",
    "level_scores": "cropload.review.scores",
    "split_miss": "cropload.review.split_miss",
    "learn": "cropload.review.learning",
    "accept": "cropload.review.accepting",
    "lesson_effect": "cropload.review.accepting",
    "bud_fertility": "cropload.review.bud_fertility",
    "vine_trend": "cropload.review.vine_trend",
    "strip_trial": "cropload.review.strips",
    "pocket_page": "cropload.pages.pocket",
    "harvest_dates": "cropload.beliefs.dates.harvest_dates",
    "capacity_table": "cropload.winery.capacity",
    "contract_table": "cropload.winery.contracts",
    "intake_schedule": "cropload.winery.intake",
    "relieve": "cropload.winery.relief",
    "compare_scenarios": "cropload.owner.scenarios",
    "report": "cropload.owner.report",
    "evidence": "cropload.outside.evidence",
    "Forecast": "cropload.beliefs.result",
    "forecast": "cropload.beliefs.forecast",
    "Import": "cropload.records.importing.importing",
    "import_workbook": "cropload.records.importing.importing",
    "Records": "cropload.records.records",
    "RecordsError": "cropload.records.reading.faults",
    "read_records": "cropload.records.records",
    "record_event": "cropload.records.writing.event_row",
    "answer_doubt": "cropload.records.writing.answer",
    "correct": "cropload.records.writing.correct",
    "write_template": "cropload.records.writing.template",
    "vines_per_hectare": "cropload.units",
}

__getattr__, __dir__, __all__ = lazy.names(__name__, _HOME)

answer.RENDERERS |= {
    "text": "cropload.show.answers:as_text",
    "html": "cropload.show.answers:as_html",
}
answer.VIEWS |= {
    "BalancedLookup": "cropload.pruning.rules",
    "Forecast": "cropload.season.forecast_view",
    "Change": "cropload.season.what_moved",
    "Import": "cropload.pages.import_words",
}

answer.QUESTIONS |= {
    "Records": {
        name: f"{_HOME[public]}:{public}"
        for name, public in {
            "compare_blocks": "compare_blocks",
            "forecast": "forecast",
            "due": "due",
            "harvest_dates": "harvest_dates",
            "review": "review_season",
            "stage_errors": "stage_errors",
            "learn": "learn",
            "vine_trend": "vine_trend",
            "bud_fertility": "bud_fertility",
        }.items()
    },
    "BlockOfRecords": {
        name: f"{_HOME[public]}:{public}"
        for name, public in {
            "compare": "compare_plans",
            "find_plans": "find_plans",
            "frost_cover": "frost_cover",
            "crew_check": "crew_check",
            "strip_trial": "strip_trial",
            "sample_vines": "sample_vines",
        }.items()
    },
    "Forecast": {
        name: f"{_HOME[name]}:{name}"
        for name in ("next_counts", "thin_to", "after_frost", "intake_schedule", "what_moved")
    },
}


class _Moved:
    """Tell a notebook of an earlier version, in one line, what to import now."""

    @staticmethod
    def find_spec(name, path=None, target=None):
        if name in ("cropload.views", "cropload.decisions", "cropload.forecasting"):
            raise ImportError(
                f"{name} is gone: in a notebook, import from cropload.workbook instead (as in "
                "`from cropload.workbook import PruningLevels`), elsewhere from cropload."
            )


sys.meta_path.append(_Moved)
