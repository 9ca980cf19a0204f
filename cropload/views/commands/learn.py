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
    parts = [*_lessons(lessons), _effect(records, lessons), _vines(records), _fertility(records)]
    parts.append("To use lessons: cropload accept FOLDER, or --only NAME for some of them.")
    return "\n\n".join(parts)


def _lessons(lessons):
    from cropload.views.learned_words import (
        ACCEPT_NOTE,
        LEARN_NOTE,
        figure_range,
        lesson_kind,
        seasons_words,
    )
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
        names = ", ".join(f"{e.name} ({seasons_words(e.seasons)})" for e in profiles)
        yield paragraph(f"profile: node profiles fitted to table fertility, of {names}.")
    for note in (LEARN_NOTE, ACCEPT_NOTE, *lessons.notes):
        yield paragraph(note)


def _effect(records, lessons):
    from cropload.decisions.lesson_effect import lesson_effect
    from cropload.views.learned_words import effect_sentence
    from cropload.views.text_tables import paragraph

    return paragraph(effect_sentence(lesson_effect(records, lessons, draws=1000)))


def _vines(records):
    from cropload.decisions.vine_trend import FIGURES, vine_trend
    from cropload.errors import CroploadError
    from cropload.views.learned_words import trend_note, trend_tag
    from cropload.views.text_tables import paragraph, text_table
    from cropload.views.text_tables import words as wordy

    head = "ARE THE VINES GETTING WEAKER?"
    try:
        trend = vine_trend(records)
    except CroploadError as fault:
        return f"{head}\n{paragraph(str(fault))}"
    told = {(row["block"], row["figure"]): trend_tag(row) for row in trend.to_dict("records")}
    names = [*records.blocks["block"].astype(str), "estate"]
    rows = [
        [name, *(told.get((name, figure), "not measured") for figure in FIGURES)]
        for name in names
        if any((name, figure) in told for figure in FIGURES)
    ]
    heads = ["block", "pruning weight", "Ravaz index", "cane weight"]
    table = text_table([wordy(text) for text in heads], rows)
    return f"{head}\n{table}\n{paragraph(trend_note(trend))}"


def _fertility(records):
    from cropload.decisions.bud_fertility import bud_fertility
    from cropload.errors import CroploadError
    from cropload.views.learned_words import differs_sentence, enough_sentence
    from cropload.views.text_tables import paragraph

    head = "BUD FERTILITY"
    try:
        table = bud_fertility(records)
    except CroploadError as fault:
        return f"{head}\n{paragraph(str(fault))}"
    lines = []
    for name in dict.fromkeys(table["variety"]):
        mine = table[(table["variety"] == name) & (table["what"] == "fertility")]
        lines += [enough_sentence(table, name, wood) for wood in dict.fromkeys(mine["wood"])]
        if len(mine):
            lines.append(differs_sentence(mine, name))
    return "\n".join([head, *(paragraph(line, "- ") for line in lines)])


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
    parser.add_argument(
        "--older",
        action="store_true",
        help="let lessons take the place of those that later seasons taught; they stay by default",
    )


def _accept(given):
    from cropload.decisions.accepting import accept, chosen, weighed
    from cropload.decisions.learning import learn
    from cropload.records.learned import read_learned
    from cropload.views.learned_words import accepted_lines
    from cropload.views.text_tables import paragraph

    records = options.records_of(given)
    lessons = learn(records, given.through)
    entries = chosen(lessons, given.only)
    found = weighed(entries, read_learned(records.path), given.older)
    new, old = accept(records, lessons, given.only, older=given.older)
    lines = [paragraph(line) for line in accepted_lines(found, lessons)]
    lines[1:1] = [paragraph(entry.key, "- ") for entry in found.taken]
    lines.append(f"Kept in: {new}")
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
        "how many seasons speak, and what accepting them would change. Figures are ratios and "
        "exponents [1]. Then whether the vines get weaker, and whether enough buds were examined. "
        "Nothing is changed.",
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
        "that taught them. The version before stays beside it under a number. A lesson "
        "in force that later seasons taught stays, unless --older is given.",
        example="""
            cropload accept my_season
            cropload accept my_season --only counter increase_factor:Riesling
        """,
        arguments=_accept_arguments,
        run=_accept,
    ),
)
