"""Tables of lessons as HTML: before and after, profiles, what they change, what is in force."""

from cropload.beliefs import ranges
from cropload.review import learned_words as words
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.wording import whole


def lessons_table(lessons):
    """Return the lessons before and after with their ranges as HTML."""
    table = lessons.table
    rows = [
        [
            words.lesson_name(row["key"]),
            str(row["seasons"]),
            whole(words.before_text(row)),
            whole(words.figure_range(row, "after")),
            whole(words.now_text(row)),
            row["said"],
        ]
        for row in words.by_kind(table).to_dict("records")
    ]
    if not rows:
        return parts.note("No bias, factor or load response has been measured yet.")
    caption = f"Lessons, with the {table.attrs['interval']}; before: the handbook's unless said"
    heads = ["lesson", "seasons", "before [1]", "after [1]", "forecast now", "it has"]
    text = parts.table(heads, rows, caption, {5})
    told = words.kinds_told(table)
    return text + parts.points([*told, words.ACCEPT_NOTE, *lessons.notes])


def profiles_table(profiles):
    """Return node profiles before and after as HTML, one row a variety, wood and figure."""
    if profiles.empty:
        return ""
    nodes = sorted(profiles["node"].unique())
    rows = []
    keys = ["variety", "wood", "what"]
    for (variety, wood, what), mine in profiles.groupby(keys, sort=False):
        mine = mine.set_index("node")
        cells = [
            f"{mine.at[node, 'before']:.2f} > {mine.at[node, 'after']:.2f}"
            if node in mine.index
            else ""
            for node in nodes
        ]
        figure = "shoots per bud" if what == "burst" else "clusters per shoot"
        rows.append([f"{variety}, {wood}s", figure, str(mine["seasons"].iloc[0]), *cells])
    heads = ["node profile", "relative [1]", "seasons", *(f"node {node}" for node in nodes)]
    table = parts.table(heads, rows, "Fitted to table fertility; before > after", {1})
    return (
        '<details class="cl-source"><summary>Node profiles, before &gt; after</summary>'
        f"{table}</details>"
    )


def effect_table(effect, units):
    """Return what lessons change in the next forecast as HTML, one row a block and the estate.

    Parameters
    ----------
    effect : DataFrame
        Of ``lesson_effect``.
    units : UnitSystem
        Units to show [t or short tons].
    """
    rows = []
    for row in effect.to_dict("records"):
        cells = [row["name"]]
        for word in ("before", "after"):
            low, middle, high = (row[f"{word}_{end}"] for end in ranges.ENDINGS)
            cells.append(
                f"{wording.amount('tonnes', middle, units, unit=False)} "
                f"({wording.span('tonnes', low, high, units)})"
            )
        change = round(100 * float(row["change"]), 1) + 0.0
        rows.append([*map(whole, cells), f"{change:+.1f} %"])
    label = units.label("tonnes")
    heads = ["block", f"as it stands [{label}]", f"once accepted [{label}]", "change of middle"]
    caption = (
        f"Season {effect.attrs['season']}: middle and {effect.attrs['interval']}, with "
        f"{words.lessons_words(effect.attrs['lessons'])} ticked"
    )
    return parts.table(heads, rows, caption)


def force_table(entries, path):
    """Return what has been accepted as HTML.

    Parameters
    ----------
    entries : sequence of Entry
        As from ``read_learned``.
    path : path
        Where they are kept.
    """
    if not entries:
        return parts.note(
            "Nothing has been accepted: every figure is the handbook's, moved by the records that "
            f"are read. Accepted lessons are kept in {path.name} beside your records."
        )
    rows = [
        [
            words.lesson_name(entry.key),
            words.entry_figure(entry),
            str(entry.seasons),
            f"seasons after {entry.through}",
        ]
        for entry in entries
    ]
    heads = ["lesson", "figure [1]", "seasons that spoke", "used for"]
    return parts.table(heads, rows, f"Accepted, from {path.name}", {3}) + parts.note(
        f"They are in {path}. Delete that file to go back to the handbook; earlier versions lie "
        "beside it as learned.1.toml, learned.2.toml and so on."
    )
