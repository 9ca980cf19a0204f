"""The command ``review``: what the season's forecasts were worth, and what missed."""

from cropload.show import options
from cropload.show.command import Command

_GUESSES = {
    "last_season": "as last season",
    "block_mean": "block's mean",
    "count_x_last_weight": "count x last weight",
}


def _review_arguments(parser):
    options.add_records(parser)
    parser.add_argument(
        "--season", metavar="YEAR", type=options.year, help="year of harvest; the last one picked"
    )
    parser.add_argument(
        "--moment",
        metavar="MOMENT",
        default="clusters",
        help="the forecast whose miss is split by component: pruning, shoots, clusters (the "
        "default), lag, veraison or picking",
    )
    options.add_units(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def _review(given):
    from cropload.beliefs.calendar import MOMENTS
    from cropload.errors import CroploadError, near
    from cropload.review.review import review_season
    from cropload.review.words import export_crops

    if given.moment not in MOMENTS:
        raise CroploadError(
            f"'{given.moment}' is no moment of the season. {near(given.moment, MOMENTS)} Choose "
            f"from: {', '.join(MOMENTS)}.".replace("  ", " ")
        )
    records = options.records_of(given)
    season = given.season if given.season is not None else last_picked(records)
    found = review_season(records, season, draws=given.draws, seed=given.seed)
    units = options.units_of(given)
    if given.csv is not None:
        options.save(given, export_crops(found, units))
    return "\n\n".join(_parts(found, records, given.moment, units))


def last_picked(records):
    """Return the last season on the scale."""
    from cropload.beliefs.meant import picked_seasons
    from cropload.errors import CroploadError

    if records.harvest.empty:
        raise CroploadError(
            "No harvest is on record yet, so there is nothing to review. Fill table harvest."
        )
    over = picked_seasons(records)
    return max(over) if over else int(records.harvest["season"].max())


def _parts(found, records, moment, units):
    from cropload.review import words
    from cropload.show.terminal import paragraph

    yield paragraph(
        f"Season {found.season}: what each forecast was worth, made again from what was known on "
        f"its day. Ranges: {found.summary.attrs['interval']}."
    )
    yield _scores(found, units)
    yield _guesses(found)
    if len(found.logged):
        yield _logged(found, units)
    yield "\n".join(paragraph(note, "- ") for note in _notes(words, found))
    yield _split(found, records, moment)
    yield paragraph(options.CAUTION)


def _notes(words, found):
    return [words.MISS_NOTE, words.coverage_note(), words.SCORE_NOTE, *found.notes]


def _scores(found, units):
    from cropload.review.words import coverage_words, per_cent
    from cropload.show.terminal import Column, text_table
    from cropload.show.terminal import words as wordy

    rows = [
        [
            row["words"],
            f"{row['day']:%Y-%m-%d}",
            per_cent(row["bias"], sign=True),
            per_cent(row["weighted_miss"]),
            coverage_words(row),
            per_cent(row["width_share"]),
            f"{units.convert('tonnes', row['crps_t']):.2f}",
        ]
        for row in found.summary.to_dict("records")
    ]
    heads = [wordy("forecast"), wordy("day"), Column("bias"), Column("miss"), Column("inside")]
    heads += [Column("width"), Column("score", units.label("tonnes"))]
    return "SCORES\n" + text_table(heads, rows)


def _guesses(found):
    from cropload.review.review import BASELINES
    from cropload.review.words import per_cent
    from cropload.show.terminal import Column, paragraph, text_table
    from cropload.show.terminal import words as wordy

    rows = []
    for row in found.summary.to_dict("records"):
        cells = [row["words"]]
        for name in BASELINES:
            miss, ours = per_cent(row[f"{name}_miss"]), per_cent(row[f"{name}_beside"])
            cells.append("-" if miss == "-" else f"{miss} ({ours})")
        rows.append(cells)
    heads = [wordy("forecast"), *(Column(text) for text in _GUESSES.values())]
    note = paragraph("The miss of guesses made without a model, and in brackets the forecast's own "
                     "over the same blocks.")  # fmt: skip
    return f"BESIDE A GROWER'S OWN GUESSES\n{note}\n{text_table(heads, rows)}"


def _logged(found, units):
    from cropload.review.words import coverage_words, per_cent
    from cropload.show.terminal import Column, text_table
    from cropload.show.terminal import words as wordy

    rows = [
        [
            f"{row['logged_at'][:10]}{' *' if row['kept_after_first_load'] else ''}",
            row["as_of"] or "all",
            row["words"],
            per_cent(row["bias"], sign=True),
            per_cent(row["weighted_miss"]),
            coverage_words(row),
            f"{units.convert('tonnes', row['crps_t']):.2f}",
        ]
        for row in found.logged.to_dict("records")
    ]
    heads = [wordy("kept"), wordy("as of"), wordy("stage"), Column("bias"), Column("miss")]
    heads += [Column("inside"), Column("score", units.label("tonnes"))]
    text = "FORECASTS KEPT IN THE LOG, as they were kept\n" + text_table(heads, rows)
    if found.logged["kept_after_first_load"].any():
        text += "\n* kept after the first load"
    return text


def _split(found, records, moment):
    from cropload.beliefs.calendar import MOMENTS
    from cropload.review.split_miss import split_miss
    from cropload.review.words import (
        COUNTED_NOTE,
        block_sentence,
        estate_sentence,
        measured_sentence,
    )
    from cropload.show.terminal import paragraph

    head = f"WHAT MISSED, {MOMENTS[moment]}"
    if moment not in found.forecasts:
        return f"{head}\nThis moment is not on record for {found.season}."
    split = split_miss(records, found.season, found.forecasts[moment])
    left_out = [paragraph(told, "- ") for told in split.attrs["left_out"]]
    if split.empty:
        return "\n".join([head, "No block's own miss can be split.", *left_out])
    lines = [paragraph(estate_sentence(split))]
    lines += [paragraph(block_sentence(split, b), "- ") for b in split["block"].unique()]
    lines += left_out
    blocks = list(split["block"].unique())
    lines += [paragraph(measured_sentence(records, found.season, blocks)), paragraph(COUNTED_NOTE)]
    return "\n".join([head, *lines])


COMMANDS = (
    Command(
        name="review",
        group="After harvest",
        summary="score the season's forecasts against the scale, and say what missed",
        details="Makes each forecast of a season again from what was known on its day, holds it "
        "against the harvest beside guesses a grower would make (miss and bias in per cent, score "
        "in t, or short tons with --units us), and splits the miss by component. Forecasts kept "
        "in the log are scored as they were kept.",
        example="""
            cropload review my_season --season 2026
            cropload review --example --season 2026 --moment lag
        """,
        arguments=_review_arguments,
        run=_review,
    ),
)
