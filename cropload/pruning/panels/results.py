"""What a comparison shows, as HTML: sentences, table, sketches, and where the numbers come from."""

from html import escape

from cropload import handbook
from cropload.beliefs.meant import load_first
from cropload.pruning import words as level_words
from cropload.pruning.tables import comparison_tables
from cropload.show import wording
from cropload.show.panels import parts
from cropload.vine.plan import PruningPlan

#: Part of the load response in the handbook -> what it moves.
_RESPONDS = {
    "burst": "shoots per bud",
    "fertility": "clusters per shoot",
    "pruning": "the pruning weight",
    "noncount": "non-count shoots",
}


def level_title(place, name):
    """Return a level's number and name, such as ``Level 1 (as last winter)``."""
    return f"Level {place}" + (f" ({name})" if name else "")


def figures_html(comparison, names, units):
    """Return all figures of a comparison as HTML: tables with one row a level, and notes."""
    heads = [
        f"{level_title(place, name)}: {plan}"
        for place, (plan, name) in enumerate(zip(comparison["plan"], names, strict=True), start=1)
    ]
    told = parts.note(f"Each figure is the middle, and in brackets the {comparison.interval}.")
    tables = comparison_tables(comparison, units, heads)
    drawn = "".join(table.html(units) for table in tables if table.key != "wood")
    return told + drawn + parts.note(wording.FIRST_SEASON_GAIN) + notes_html(comparison)


def wood_html(comparison, names, units):
    """Return next winter's wood of each level as HTML: sentences, and their table."""
    text = ""
    rows = zip(wording.levels(comparison.frame), names, strict=True)
    for place, (row, name) in enumerate(rows, start=1):
        told = level_words.wood_sentence(row, PruningPlan.parse(row["plan"]))
        text += parts.note(f"{level_title(place, name)}: {told}")
    [table] = [t for t in comparison_tables(comparison, units) if t.key == "wood"]
    return text + table.html(units) + parts.note(level_words.WOOD_WORDS)


def _component(entry, units):
    grade = handbook.GRADES[handbook.entry(entry["key"]).grade]
    return (
        f"{level_words.component_text(entry, units)}. Came from {entry['came_from']} "
        f"({entry['detail']}). Handbook start: {entry['key']}, {grade}."
    )


def sources_html(comparison, names, units):
    """Return where the numbers come from as HTML: every line opens to the handbook's sources."""
    text = parts.note(
        "Each component is a centre and a spread for the coming season in this block. The block's "
        "own records count most; where it has few, the same variety on this estate and then the "
        "handbook fill in. Open a line to read what the handbook says and who said it."
    )
    for entry in comparison.components:
        text += parts.source(entry["key"], _component(entry, units))
    for band, words in (
        (comparison.density, "shoots per metre"),
        (comparison.balance, "yield to pruning weight"),
    ):
        line = f"Band of {words}: {band.text()}"
        text += parts.source(band.key, line) if band.key else parts.note(line)
    for key in handbook.keys("load."):
        text += parts.source(key, _response(key))
    return text


def _response(key):
    """Return what an entry ``load.PART.SEASON`` of the handbook says, in words."""
    _, part, *when = key.split(".")
    entry = handbook.entry(key)
    if part not in (*_RESPONDS, "weight") or not when:
        return f"Load taken where none is on record: {key}"
    season = "first season" if when == ["first"] else "settled"
    ten = 100 * (1.1 ** float(entry.value) - 1)
    if part == "weight":
        return f"Ten per cent more clusters change their weight by {ten:+.1f} % ({season}): {key}"
    return f"Ten per cent more buds change {_RESPONDS[part]} by {ten:+.1f} % ({season}): {key}"


def notes_html(comparison):
    """Return the notes of a comparison as HTML; an unknown load is told at the top."""
    return parts.points(
        [
            *load_first(comparison.notes)[1],
            f"Ranges are the {comparison.interval}, from {comparison.draws:,} "
            "draws that all levels share, so that differences between levels are not chance.",
        ]
    )


def cautions_html():
    """Return the cautions of pruning as HTML."""
    items = "".join(
        f"<p><strong>{escape(word)}.</strong> {escape(text)}</p>" for word, text in wording.CAUTIONS
    )
    return (
        f'<div class="cl-care" role="note"><p><strong>Take care</strong></p>{items}'
        f"<p>{escape(wording.SUPPORT)}</p></div>"
    )
