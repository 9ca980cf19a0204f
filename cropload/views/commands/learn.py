"""The commands ``learn`` and ``accept``: what the seasons taught, and its use from then on."""

from cropload.views.commands import Command, options


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
    from cropload.views.learned_words import ACCEPT_NOTE, LEARN_NOTE, figure_range, lesson_kind
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
