"""The commands after harvest: ``review`` the season's forecasts, ``learn``, and ``accept``."""

from cropload.views.commands import Command, options

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
    from cropload.decisions.review import review_season
    from cropload.errors import CroploadError, near
    from cropload.forecasting.calendar import MOMENTS

    if given.moment not in MOMENTS:
        raise CroploadError(
            f"'{given.moment}' is no moment of the season. {near(given.moment, MOMENTS)} Choose "
            f"from: {', '.join(MOMENTS)}.".replace("  ", " ")
        )
    records = options.records_of(given)
    season = given.season if given.season is not None else last_picked(records)
    found = review_season(records, season, draws=given.draws, seed=given.seed)
    units = options.units_of(given)
    options.save(given, _export(found, units))
    return "\n\n".join(_parts(found, records, given.moment, units))


def last_picked(records):
    """Return the last season on the scale."""
    from cropload.errors import CroploadError

    if records.harvest.empty:
        raise CroploadError(
            "No harvest is on record yet, so there is nothing to review. Fill table harvest."
        )
    return int(records.harvest["season"].max())


def _export(found, units):
    """Return the crops of every moment as they are written to a file."""
    shown = found.blocks.copy()
    tonnes = [c for c in shown if c.startswith("tonnes_") or c.endswith("_t") or c in _GUESSES]
    for name in tonnes:
        shown[name] = units.convert("tonnes", shown[name])
    shown.insert(0, "season", found.season)
    shown.insert(1, "moment", shown.pop("moment"))
    shown["unit"] = units.label("tonnes")
    shown["interval"] = found.summary.attrs["interval"]
    return shown


def _parts(found, records, moment, units):
    from cropload.views import review_words as words
    from cropload.views.text_tables import paragraph

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
    return [words.MISS_NOTE, words.COVERAGE_NOTE, words.SCORE_NOTE, *found.notes]


def _scores(found, units):
    from cropload.views.review_words import coverage_words, per_cent
    from cropload.views.text_tables import Column, text_table
    from cropload.views.text_tables import words as wordy

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
    from cropload.decisions.review import BASELINES
    from cropload.views.review_words import per_cent
    from cropload.views.text_tables import Column, paragraph, text_table
    from cropload.views.text_tables import words as wordy

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
    from cropload.views.review_words import coverage_words, per_cent
    from cropload.views.text_tables import Column, text_table
    from cropload.views.text_tables import words as wordy

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
    from cropload.decisions.split_miss import split_miss
    from cropload.forecasting.calendar import MOMENTS
    from cropload.views.review_words import block_sentence, estate_sentence
    from cropload.views.text_tables import paragraph

    head = f"WHAT MISSED, {MOMENTS[moment]}"
    if moment not in found.forecasts:
        return f"{head}\nThis moment is not on record for {found.season}."
    split = split_miss(records, found.season, found.forecasts[moment])
    if split.empty:
        return f"{head}\nNo block was weighed on its own."
    picked = found.blocks.drop_duplicates("name").set_index("name")["picked_t"].to_dict()
    lines = [paragraph(estate_sentence(split, picked))]
    lines += [paragraph(block_sentence(split, b), "- ") for b in split["block"].unique()]
    return "\n".join([head, *lines])


def _learn_arguments(parser):
    options.add_records(parser)
    parser.add_argument(
        "--through",
        metavar="YEAR",
        type=options.year,
        help="last harvest that speaks; the latest on record by default",
    )
    options.add_csv(parser)


def _learn(given):
    from cropload.decisions.learning import learn

    records = options.records_of(given)
    lessons = learn(records, given.through)
    if given.csv is not None:
        frame = lessons.table.copy()
        frame["interval"] = lessons.table.attrs["interval"]
        options.save(given, frame)
    return "\n\n".join(_lessons(lessons))


def _lessons(lessons):
    from cropload.views.review_words import ACCEPT_NOTE, LEARN_NOTE, figure_range, lesson_kind
    from cropload.views.text_tables import Column, paragraph, text_table
    from cropload.views.text_tables import words as wordy

    yield paragraph(
        f"What the seasons up to {lessons.through} teach. "
        f"Ranges: {lessons.table.attrs['interval']}."
    )
    for kind, part in lessons.table.assign(kind=lesson_kind(lessons.table)).groupby(
        "kind", sort=False
    ):
        rows = [
            [
                row["of"] if row["topic"] != "load" else row["key"].split(":")[1],
                str(row["seasons"]),
                figure_range(row, "before"),
                figure_range(row, "after"),
                row["said"],
            ]
            for row in part.to_dict("records")
        ]
        heads = [wordy("of"), Column("seasons"), Column("before"), Column("after")]
        title = "exponents of the load response" if kind == "load" else part["words"].iloc[0]
        yield f"{kind}: {title}\n" + text_table([*heads, wordy("it has")], rows)
    profiles = [entry for entry in lessons.entries.values() if entry.topic == "profile"]
    if profiles:
        names = ", ".join(f"{e.name} ({e.seasons} seasons)" for e in profiles)
        yield paragraph(f"profile: node profiles fitted to table fertility, of {names}.")
    for note in (LEARN_NOTE, ACCEPT_NOTE, *lessons.notes):
        yield paragraph(note)
    yield paragraph("To use them: cropload accept FOLDER, or --only NAME for some of them.")


def _accept_arguments(parser):
    options.add_records(parser)
    parser.add_argument(
        "--only",
        metavar="NAME",
        nargs="+",
        help="names as `cropload learn` lists them, like counting_bias:Riesling, or the part "
        "before the colon for all of a kind; everything by default",
    )
    parser.add_argument(
        "--through", metavar="YEAR", type=options.year, help="as in `cropload learn`"
    )


def _accept(given):
    from cropload.decisions.accepting import accept, chosen
    from cropload.decisions.learning import learn
    from cropload.views.text_tables import paragraph

    records = options.records_of(given)
    lessons = learn(records, given.through)
    new, old = accept(records, lessons, given.only)
    names = [entry.key for entry in chosen(lessons, given.only)]
    lines = [
        paragraph(
            f"Accepted: {len(names)} lesson{'' if len(names) == 1 else 's'}, used for seasons "
            f"after {lessons.through} and named there as the source."
        ),
        *(paragraph(name, "- ") for name in names),
        f"Kept in: {new}",
    ]
    if old is not None:
        lines.append(f"The version before: {old}")
    return "\n".join(lines)


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
    Command(
        name="learn",
        group="After harvest",
        summary="re-estimate biases, factors, load response and node profiles; changes nothing",
        details="Shows what all seasons on record say of counting bias by counter and variety, "
        "growth factors, recovery, the load response and node profiles, before and after, with "
        "how many seasons speak. Figures are ratios and exponents [1]. Nothing is changed.",
        example="""
            cropload learn my_season
            cropload learn --example --through 2025
        """,
        arguments=_learn_arguments,
        run=_learn,
    ),
    Command(
        name="accept",
        group="After harvest",
        summary="use what was learned from the next season on (learned.toml in the folder)",
        details="Keeps lessons in learned.toml beside the records, for seasons after the last one "
        "that taught them. The version before stays beside it under a number.",
        example="""
            cropload accept my_season
            cropload accept my_season --only counter increase_factor:Riesling
        """,
        arguments=_accept_arguments,
        run=_accept,
    ),
)
