"""Answer a doubt about the user's records by a row of table ``answered``: this is right."""

from cropload import arguments, clock
from cropload.errors import CroploadError, choose
from cropload.records.doubts.answers import rule_name
from cropload.records.example import own_folder
from cropload.records.records import read_records
from cropload.records.writing.append import append_rows

#: Doubts that one row of the table answers.
_MOST_IN_A_ROW = 40


@arguments.check_arguments(
    path=arguments.path,
    rule=arguments.text,
    why=arguments.text,
    block=arguments.optional(arguments.text),
    season=arguments.optional(arguments.season),
    who=arguments.label,
    every=arguments.flag,
    day=arguments.optional(arguments.day),
)
def answer_doubt(path, rule, why, *, block=None, season=None, who="", every=False, day=None):
    """Say of a doubt that the records are right, in a row of table ``answered``.

    Parameters
    ----------
    path : str or path
        Folder or workbook of the records, as for ``read_records``.
    rule : str
        Name of the doubt, as ``cropload check`` has it in brackets.
    why : str
        Why it is right.
    block : str, optional
        The block; may be left out where no more than one is asked about.
    season : int, optional
        Year of harvest; may be left out where no more than one is asked about.
    who : str
        Who answers.
    every : bool
        Whether the doubt is answered for each block and season that are not named.
    day : date, optional
        Day of the answer; today when left out.

    Returns
    -------
    str
        What was done, in words.

    Raises
    ------
    CroploadError
        When no such doubt is raised, when several blocks or seasons are asked about, or for the
        shipped sample; nothing is written then.

    Notes
    -----
    Valid for what is doubtful, not for what is refused.  The answer holds while the rows that the
    doubt speaks of stay as they are; no figure changes by it.
    """
    own_folder(path, "answer a doubt")
    raised = [fault.matter for fault in read_records(path).warnings if fault.matter]
    name = rule_name(rule)
    mine = [matter for matter in raised if matter.rule == name]
    if not mine:
        known = sorted({matter.rule for matter in raised})
        told = choose(name, known) if known else "No doubt that can be answered is raised."
        raise CroploadError(f"These records raise no doubt '{name}'. {told}")
    wanted = [
        matter
        for matter in mine
        if (block is None or matter.block.casefold() == block.strip().casefold())
        and (season is None or matter.season == season)
    ]
    places = dict.fromkeys(matter.place() for matter in mine)
    if not wanted:
        raise CroploadError(
            f"The doubt '{name}' is not raised there. It is raised of: {'; '.join(places)}."
        )
    keys = dict.fromkeys((matter.block, matter.season) for matter in wanted)
    if len(keys) > 1 and not every:
        places = dict.fromkeys(matter.place() for matter in wanted)
        raise CroploadError(
            f"The doubt '{name}' is raised of {len(keys)} places: {'; '.join(places)}. Name the "
            "block and the season that are right, or ask to answer all of them (--all)."
        )
    rows = []
    for of_block, of_season in keys:
        marks = [m.rows for m in wanted if (m.block, m.season) == (of_block, of_season)]
        marks = list(dict.fromkeys(marks))
        for first in range(0, len(marks), _MOST_IN_A_ROW):
            rows.append(
                {
                    "rule": name,
                    "block": of_block,
                    "season": of_season or None,
                    "who": who,
                    "why": why,
                    "date": clock.today() if day is None else day,
                    "rows": " ".join(marks[first : first + _MOST_IN_A_ROW]),
                }
            )
    file = append_rows(path, "answered", rows)
    number = len(wanted)
    noun = "doubt is" if number == 1 else "doubts are"
    return (
        f"{number:,} {noun} answered in {file}, and raised again only when the values behind "
        f"{'it' if number == 1 else 'them'} change. No figure changes by it."
    )
