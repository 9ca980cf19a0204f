"""The command ``source``: where a default, band or prior comes from."""

from cropload.errors import CroploadError, near
from cropload.show.command import Command
from cropload.show.options import option

_ARGUMENTS = (
    option(
        "key",
        "KEY",
        "name of a handbook entry, the beginning of one, words of it or its note, or the key of a "
        "publication",
        default="",
        nargs="?",
    ),
)


def _run(given):
    from cropload import handbook
    from cropload.show.terminal import paragraph

    key = given.key.strip().rstrip(".")
    known = handbook.keys()
    if key in known:
        return handbook.describe(key)
    if key in handbook.source_keys():
        return f"{key}\n" + paragraph(handbook.citation(key), "  ", 80)
    found = (handbook.keys(f"{key}.") if key else []) or _told_of(key)
    if len(found) == 1:
        return handbook.describe(found[0])
    if found:
        width = max(map(len, found))
        return "\n".join(f"{each:<{width}}  {handbook.told(each)}".rstrip() for each in found)
    if key:
        near_to = [*known, *handbook.source_keys(), *_heads(known)]
        hint = near(key, near_to) or "`cropload source` lists what there is."
        raise CroploadError(f"The handbook has no entry '{key}'. {hint}")
    groups = {}
    for head in _heads(known):
        groups[head] = groups.get(head, 0) + 1
    longest = max(len(name) for name in groups)
    lines = [f"  {name:<{longest}}  {number:>4}" for name, number in groups.items()]
    return "\n".join(
        [
            "Groups of the handbook and their entries; `cropload source GROUP` lists one:",
            *lines,
            "",
            "Assumptions that move a usual answer most; `cropload source KEY` tells how far:",
            *(f"  {key}" for key in handbook.most_moving()),
            "",
            "Publications cited:",
            *(paragraph(name, "  ", 80) for name in handbook.source_keys()),
        ]
    )


def _told_of(words):
    """Return the entries whose key or note has all of some words, those of the key first."""
    from cropload import handbook

    words = words.lower().replace("_", " ").split()
    found = []
    for key in handbook.keys() if words else ():
        name = key.lower().replace("_", " ")
        if all(word in f"{name} {handbook.entry(key).note.lower()}" for word in words):
            # The chain's own figures first, the limits of doubts last.
            about = {"prior": 0, "plausible": 2}.get(key.split(".")[0], 1)
            found.append((not all(word in name for word in words), about, key))
    return [key for *_, key in sorted(found, key=lambda each: each[:2])]


def _heads(keys):
    return [key.split(".")[0] for key in keys]


COMMANDS = (
    Command(
        name="source",
        group="Look up",
        summary="where a default, band or prior comes from",
        details="Prints a figure of the handbook with its unit, range, grade, source and, of an "
        "assumption, what it moves. Without a key it lists the groups and the assumptions that "
        "move most; with the beginning of a key the entries below it; with words of a report, such "
        'as "cluster weight", the entries that speak of them.',
        example="""
            cropload source band.ravaz.general
            cropload source balanced
            cropload source "cluster weight"
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
