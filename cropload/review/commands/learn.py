"""The commands ``learn`` and ``accept``: what the seasons taught, and its use from then on."""

from cropload.show import options
from cropload.show.command import Command


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
    from cropload.review.learning import learn

    records = options.records_of(given)
    lessons = learn(records, given.through)
    if given.csv is not None:
        frame = lessons.table.copy()
        frame["interval"] = lessons.table.attrs["interval"]
        options.save(given, frame)
    parts = [*_lessons(lessons), _effect(records, lessons), _vines(records), _fertility(records)]
    parts.append(
        "To use the lessons that say something new: cropload accept FOLDER.\n"
        "For some of them: --only NAME; for every one: --all."
    )
    return "\n\n".join(parts)


def _lessons(lessons):
    from cropload.review.learned_words import (
        ACCEPT_NOTE,
        LEARN_NOTE,
        LOAD_FIGURE,
        LOADS,
        figure_range,
        lesson_kind,
        now_sentence,
        seasons_words,
    )
    from cropload.show.terminal import Column, paragraph, text_table
    from cropload.show.terminal import words as wordy

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
        title = f"{part['words'].iloc[0]}; before: {', '.join(dict.fromkeys(part['before_from']))}"
        if kind == "recovery":
            title += "; cannot exceed 1, so its range ends there"
        if kind == "load":
            names = "; ".join(f"{name} is {told}" for name, told in LOADS.items())
            title = f"{LOAD_FIGURE}. {names}"
        told = [paragraph(f"{kind}: {title}"), text_table([*heads, wordy("it has")], rows)]
        yield "\n".join([*told, paragraph(now_sentence(part))])
    profiles = [entry for entry in lessons.entries.values() if entry.topic == "profile"]
    if profiles:
        names = ", ".join(f"{e.name} ({seasons_words(e.seasons)})" for e in profiles)
        yield paragraph(f"profile: node profiles fitted to table fertility, of {names}.")
    for note in (LEARN_NOTE, ACCEPT_NOTE, *lessons.notes):
        yield paragraph(note)


def _effect(records, lessons):
    from cropload.review.accepting import worth_accepting
    from cropload.review.learned_words import effect_sentence
    from cropload.review.lesson_effect import lesson_effect
    from cropload.show.terminal import paragraph

    found = lesson_effect(records, lessons, worth_accepting(lessons), draws=1000)
    if not found.attrs["lessons"]:
        return paragraph("No lesson says anything new yet, so there is nothing to accept.")
    return paragraph(effect_sentence(found))


def _vines(records):
    from cropload.errors import CroploadError
    from cropload.review.learned_words import trend_note, trend_tag
    from cropload.review.vine_trend import FIGURES, vine_trend
    from cropload.show.terminal import paragraph, text_table
    from cropload.show.terminal import words as wordy

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
    from cropload.errors import CroploadError
    from cropload.review.bud_fertility import bud_fertility
    from cropload.review.learned_words import differs_sentence, enough_sentence
    from cropload.show.terminal import paragraph

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
        "before the colon for all of a kind; by default all that moved or are known better, from "
        "two seasons or more",
    )
    parser.add_argument(
        "--all", action="store_true", help="every lesson, also those that say nothing new"
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
    from cropload.beliefs.learned import read_learned
    from cropload.review.accepting import accept, chosen, weighed
    from cropload.review.learned_words import accepted_lines, lessons_words
    from cropload.review.learning import learn
    from cropload.show.terminal import paragraph

    records = options.records_of(given)
    lessons = learn(records, given.through)
    only = _asked(given, lessons)
    entries = chosen(lessons, only)
    found = weighed(entries, read_learned(records.path), given.older)
    new, old = accept(records, lessons, only, older=given.older)
    lines = [paragraph(line) for line in accepted_lines(found, lessons)]
    lines[1:1] = [paragraph(entry.key, "- ") for entry in found.taken]
    rest = len(lessons.entries) - len(entries)
    if rest and given.only is None:
        lines.append(paragraph(f"Left out: {lessons_words(rest)}, {_NOTHING_NEW}."))
    lines.append(f"Kept in: {new}")
    if old is not None:
        lines.append(f"The version before: {old}")
    return "\n".join(lines)


#: Why a lesson is not accepted unasked, and how to accept it all the same.
_NOTHING_NEW = "which say nothing new or rest on one season alone; --all takes them too"


def _asked(given, lessons):
    """Return the keys of the lessons to accept, or None for all of them."""
    from cropload.errors import CroploadError
    from cropload.review.accepting import worth_accepting

    if given.all and given.only is not None:
        raise CroploadError("Give --all or --only NAME, not both.")
    if given.all or given.only is not None:
        return given.only
    found = worth_accepting(lessons)
    if not found:
        from cropload.review.learned_words import lessons_words

        raise CroploadError(
            f"There is nothing to accept: {lessons_words(len(lessons.entries))} up to "
            f"{lessons.through}, {_NOTHING_NEW}."
        )
    return found


COMMANDS = (
    Command(
        name="learn",
        group="After harvest",
        summary="re-estimate biases, factors, load response and node profiles; changes nothing",
        details="Shows what all seasons on record say of counting bias by counter and variety, "
        "growth factors, recovery, the load response and node profiles, before and after, with "
        "how many seasons speak, and what accepting them would change. Figures are ratios "
        "[1], of the load response per cent. Then whether the vines get weaker, and whether "
        "enough buds were examined. Nothing is changed.",
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
