"""Tables of spring frost: plans over the years, springs that hurt, one night, after a frost."""

import numpy as np

from cropload.beliefs import ranges
from cropload.frost.cover import one_case
from cropload.frost.words import CASE_WORDS, night_words, springs_that_hurt
from cropload.show import wording
from cropload.show.table import (
    CHANCES,
    CHANGE,
    DATE,
    NUMBER,
    PLAN,
    RANGE,
    SHARES,
    WHOLE,
    Column,
    Table,
)
from cropload.show.wording import levels, percent


def replay_tables(replay):
    """Return two tables a case of a replay: plans over the years, and the springs that hurt.

    Parameters
    ----------
    replay : FrostReplay
        As from ``frost_cover``.
    """
    cases = [one_case(replay, case) for case in dict.fromkeys(replay.cases)]
    return [table for one in cases for table in (years_table(one), springs_table(one))]


def years_table(one):
    """Return what the years would have left of each plan of one case of a replay."""
    years, doubted = len(one.seasons), ", ".join(map(str, one.years_doubted))
    # A replay that was given no crop counts in shares alone, which stand at the end.
    crop = [
        (Column("without frost", RANGE, "t_ha"), "frost_free"),
        (Column("mean of years", RANGE, "t_ha"), "mean_crop"),
        (Column(one.worst, RANGE, "t_ha"), "worst_crop"),
    ]
    return Table.of(
        f"years_{one.cases[0]}",
        f"OVER {years} SPRING{'S' * (years > 1)}, wood {CASE_WORDS[one.cases[0]]}; a frost year "
        f"loses more than {percent(one.heavy_loss)} of the crop"
        + (f"; {doubted} among them bore a full crop" if doubted else ""),
        levels(one.frame),
        [
            (Column("plan", PLAN), "plan"),
            *(crop if one.unit == "t/ha" else ()),
            (Column("left in the mean", SHARES), "mean_share"),
            (Column(f"left in the {one.worst}", SHARES), "worst_share"),
            (Column("frost years, mean", NUMBER, unit=f"of {years}"), "frost_years"),
            (
                Column("frost in a year", CHANCES, unit="chance"),
                lambda row: (row["chance_low"], None, row["chance_high"]),
            ),
        ],
    )


def springs_table(one):
    """Return the springs that cost some plan of one case a part of its crop."""
    rows = []
    for _, plans in springs_that_hurt(one):
        hit = plans.loc[plans["nights"].idxmax()].to_dict()
        hit["stage"] = night_words(hit["stage_first"], hit["stage_last"])
        for at, plan in enumerate(plans.to_dict("records")):
            hit |= {f"left_{at}_{end}": plan[f"crop_left_{end}"] for end in ranges.ENDINGS}
        rows.append(hit)
    return Table.of(
        f"springs_{one.cases[0]}",
        f"SPRINGS THAT HURT, wood {CASE_WORDS[one.cases[0]]}: their worst night in the block, its "
        "modified E-L stage, and the share of the crop left",
        rows,
        [
            (Column("year"), "season"),
            (Column("budburst", DATE), "budburst"),
            (Column("nights", WHOLE), "nights"),
            (Column("worst night", DATE), "worst_night"),
            (Column("low", NUMBER, "temperature_c"), "block_c"),
            (Column("stage"), "stage"),
            *((Column(f"{plan} left", SHARES), f"left_{at}") for at, plan in enumerate(one.plans)),
        ],
    )


def late_cut_table(found):
    """Return what a late final cut of each plan saves, costs and leaves.

    Parameters
    ----------
    found : DataFrame
        As from ``late_cut_worth``.
    """

    def above(row):
        if max(row["never"], row["always"]) > 0.5:
            return "never" if row["never"] > 0.5 else "always"
        ends = [100 * row[f"break_even_{end}"] for end in ranges.ENDINGS]
        if not np.isfinite(ends).all():
            return None
        return wording.ranged(ends, lambda end: wording.number(end, 0))

    return Table.of(
        "late_cut",
        f"A late final cut, a year in the mean of these springs, {ranges.label()}",
        levels(found),
        [
            (Column("late cut of", PLAN), "plan"),
            (Column("saves from frost", RANGE, "t_ha"), "kept"),
            (Column("costs in crop", RANGE, "t_ha"), "cost"),
            (Column("left, its price paid", CHANGE, "t_ha"), "net"),
            (Column("pays above", unit="frost years in 100"), above),
            (
                Column("frost in a year", CHANCES, unit="chance"),
                lambda row: (row["chance_low"], None, row["chance_high"]),
            ),
        ],
    )


def after_table(found):
    """Return a block's crop after a frost, a row a part.

    Parameters
    ----------
    found : AfterFrost
        As from ``after_frost``.
    """
    return Table.of(
        "after_frost",
        f"CROP of {found.block}, season {found.forecast.season}, {ranges.label()}",
        levels(found.frame),
        [(Column("part"), "part"), (Column("crop", RANGE, "tonnes"), "tonnes")],
    )
