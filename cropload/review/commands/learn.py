"""The commands ``learn`` and ``accept``: what the seasons taught, and its use from then on."""

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

_LEARN_ARGUMENTS = (
    options.RECORDS,
    option(
        "--through",
        "YEAR",
        "last harvest that speaks; the latest on record by default",
        options.year,
    ),
    option(
        "--replay",
        help="forecast each past season again with the lessons of those before it, and without",
    ),
    options.CSV,
)


def _learn(given):
    from cropload.beliefs import ranges
    from cropload.review.accepting import lesson_effect, replay_lessons, worth_accepting
    from cropload.review.bud_fertility import bud_fertility
    from cropload.review.learning import learn
    from cropload.review.lesson_words import replay_lines
    from cropload.review.vine_trend import vine_trend
    from cropload.show.terminal import paragraph

    records = options.records_of(given)
    lessons = learn(records, given.through)
    if given.csv is not None:
        options.save(given, lessons.frame.assign(interval=ranges.label()))
    new = worth_accepting(lessons)
    effect = "No lesson says anything new yet, so there is nothing to accept."
    if new:
        effect = lesson_effect(records, lessons, new, draws=1000).heading()
    replayed = []
    if given.replay:
        lines = replay_lines(replay_lessons(records, draws=1000))
        told = "\n".join(paragraph(line, "- ") for line in lines)
        replayed = [f"WHAT LESSONS WERE WORTH IN PAST SEASONS\n{told}"]
    return [
        lessons.text(width=None),
        paragraph(effect),
        *replayed,
        _told("ARE THE VINES GETTING WEAKER?", vine_trend, records, table=True),
        _told("BUD FERTILITY", bud_fertility, records),
        "To use the lessons that say something new: cropload accept FOLDER.\n"
        "For some of them: --only NAME; for every one: --all.",
    ]


def _told(head, ask, records, table=False):
    """Return an answer under its head, or in one paragraph why there is none."""
    from cropload.errors import CroploadError
    from cropload.show.terminal import paragraph

    try:
        found = ask(records)
    except CroploadError as fault:
        return f"{head}\n{paragraph(str(fault))}"
    notes = [paragraph(note, "- ") for note in found.notes]
    return "\n".join([head, *([found.table().text()] if table else []), *notes])


_ACCEPT_ARGUMENTS = (
    options.RECORDS,
    option(
        "--only",
        "NAME",
        "names as `cropload learn` lists them, like counting_bias:Riesling, or the part "
        "before the colon for all of a kind; by default all that moved or are known better, from "
        "two seasons or more",
        nargs="+",
    ),
    option("--all", help="every lesson, also those that say nothing new"),
    option("--through", "YEAR", "as in `cropload learn`", options.year),
    option(
        "--older",
        help="let lessons take the place of those that later seasons taught; they stay by default",
    ),
)


def _accept(given):
    from cropload.review.accepting import accept
    from cropload.review.learning import learn
    from cropload.review.lesson_words import lessons_words
    from cropload.show.terminal import paragraph

    records = options.records_of(given)
    lessons = learn(records, given.through)
    found = accept(records, lessons, _asked(given, lessons), older=given.older)
    lines = [paragraph(found.heading())]
    lines += [paragraph(entry.key, "- ") for entry in found.weighed.taken]
    lines += [paragraph(note) for note in found.notes]
    rest = len(lessons.entries) - len(found)
    if rest and given.only is None:
        lines.append(paragraph(f"Left out: {lessons_words(rest)}, {_NOTHING_NEW}."))
    lines.append(f"Kept in: {found.path}")
    if found.before is not None:
        lines.append(f"The version before: {found.before}")
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
        from cropload.review.lesson_words import lessons_words

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
        arguments=_LEARN_ARGUMENTS,
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
        arguments=_ACCEPT_ARGUMENTS,
        run=_accept,
    ),
)
