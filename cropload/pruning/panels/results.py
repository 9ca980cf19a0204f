"""What a comparison shows, as HTML: sentences, table, sketches, and where the numbers come from."""

from html import escape

from cropload import handbook
from cropload.beliefs.meant import load_first
from cropload.pruning import words as level_words
from cropload.pruning.tables import comparison_tables
from cropload.pruning.vine_sketch import sketch_svg
from cropload.show import wording
from cropload.show.panels import parts

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


def sentences_html(comparison, plans, names, units):
    """Return a paragraph for each level: what it leaves, gives and costs in next winter's wood."""
    text, first = parts.head("In plain words"), plans[0]
    for place, (row, plan, name) in enumerate(
        zip(wording.levels(comparison.frame), plans, names, strict=True), start=1
    ):
        title = escape(level_title(place, name))
        words = escape(level_words.level_sentence(row, plan, comparison, units))
        wood = escape(level_words.wood_sentence(row, plan))
        differs = ""
        if place > 1:
            told = level_words.difference_sentence(row, f"level 1 ({first})", units)
            differs = f"<p>{escape(told)}</p>"
        text += (
            f'<div class="cl-level"><p><strong>{title}:</strong> {words}</p>{differs}'
            f"<p>{wood}</p></div>"
        )
    # A per cent sign stays with its number.
    text = text.replace(" %", "&nbsp;%")
    told = [wording.FIRST_SEASON_GAIN]
    if len(plans) > 1:
        told.append(level_words.DIFFERENCE)
    return text + "".join(parts.note(line) for line in told)


def table_html(comparison, names, units):
    """Return the tables of a comparison as HTML, one row a level."""
    heads = [
        f"{level_title(place, name)}: {plan}"
        for place, (plan, name) in enumerate(zip(comparison["plan"], names, strict=True), start=1)
    ]
    told = parts.note(f"Each figure is the middle, and in brackets the {comparison.interval}.")
    tables = comparison_tables(comparison, units, heads)
    return parts.head("Table") + told + "".join(table.html(units) for table in tables)


def sketches_html(comparison, plans, canopies, units):
    """Return the sketch of one vine for each level as HTML."""
    drawn = ""
    for place, (row, plan) in enumerate(
        zip(wording.levels(comparison.frame), plans, strict=True), start=1
    ):
        picture = sketch_svg(
            plan,
            row["canopy_length_m"],
            row["shoots_per_m_p50"],
            canopies,
            units,
            title=f"Level {place}",
        )
        drawn += f"<div>{picture}</div>"
    told = parts.note(
        "Wood at even places along the canopy, lengths to scale. It shows how much is left, not "
        "where to cut."
    )
    return parts.head("One vine of each level") + f'<div class="cl-sketches">{drawn}</div>' + told


def _component(entry, units):
    grade = handbook.GRADES[handbook.entry(entry["key"]).grade]
    return (
        f"{level_words.component_text(entry, units)}. Came from {entry['came_from']} "
        f"({entry['detail']}). Handbook start: {entry['key']}, {grade}."
    )


def sources_html(comparison, units, variety=""):
    """Return where the numbers come from as HTML: every line opens to the handbook's sources."""
    text = parts.head("Where do these numbers come from")
    text += parts.note(
        "Each component is a centre and a spread for the coming season in this block. The block's "
        "own records count most; where it has few, the same variety on this estate and then the "
        "handbook fill in. Open a line to read what the handbook says and who said it."
    )
    if variety and not handbook.variety(variety):
        text += parts.note(
            f"The handbook has no figures of its own for {variety}. Wherever your records say "
            "nothing, its general values stand in, with a spread that is meant to hold most "
            "varieties; a few seasons of your own counts and weights take their place. If this "
            "is another name or spelling of a variety it knows "
            f"({', '.join(handbook.variety_names())}), write that name in table blocks."
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
    return parts.head("Notes") + parts.points(
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
