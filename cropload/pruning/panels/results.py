"""What a comparison shows, as HTML: sentences, table, sketches, and where the numbers come from."""

from html import escape

from cropload import handbook
from cropload.beliefs import ranges
from cropload.pruning import words as level_words
from cropload.pruning.vine_sketch import sketch_svg
from cropload.show import wording
from cropload.show.panels import parts

#: Component unit -> quantity of the unit system, for those that differ between systems.
_QUANTITY = {"g": "cluster_weight_g", "kg/m": "pruning_weight_kg_per_m"}

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


def sentences_html(comparison, plans, names, density, balance, units):
    """Return a paragraph for each level: what it leaves, gives and costs in next winter's wood."""
    text, first = parts.head("In plain words"), plans[0]
    for place, (row, plan, name) in enumerate(
        zip(wording.levels(comparison), plans, names, strict=True), start=1
    ):
        title = escape(level_title(place, name))
        words = escape(level_words.level_sentence(row, plan, density, balance, units))
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


def _ranged(row, name, show):
    low, middle, high = (row[f"{name}_{end}"] for end in ranges.ENDINGS)
    return f"{show(middle)} ({show(low)} to {show(high)})"


def table_rows(comparison, units):
    """Return the rows of the table: a quantity, then a cell for each level.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``, one a level.
    units : UnitSystem
        Units to show.

    Returns
    -------
    list of list of str
    """
    levels = wording.levels(comparison)

    def shown(quantity):
        return lambda value: wording.amount(quantity, value, units, unit=False)

    def plain(places):
        return lambda value: wording.figure(value, places)

    def moved(value):
        shown = units.convert("tonnes", value)
        return f"{shown:+.1f}" if abs(shown) >= 0.05 else "0.0"

    per = units.label("per_m")
    ranged = (
        (f"shoots {per} of canopy", "shoots_per_m", shown("per_m")),
        ("clusters per vine", "clusters_per_vine", plain(0)),
        (
            f"cluster weight [{units.label('cluster_weight_g')}]",
            "cluster_weight_g",
            shown("cluster_weight_g"),
        ),
        (f"{units.label('kg_per_vine')} per vine", "kg_per_vine", shown("kg_per_vine")),
        (f"{units.label('t_ha')}, first season", "t_ha", shown("t_ha")),
        (f"{units.label('t_ha')}, settled", "t_ha_settled", shown("t_ha")),
        (f"block, first season [{units.label('tonnes')}]", "tonnes", shown("tonnes")),
        (f"block, settled [{units.label('tonnes')}]", "tonnes_settled", shown("tonnes")),
        (
            f"more or less than level 1, first season [{units.label('tonnes')}]",
            "tonnes_change",
            moved,
        ),
        (
            f"more or less than level 1, settled [{units.label('tonnes')}]",
            "tonnes_settled_change",
            moved,
        ),
        ("yield / pruning weight, first season", "ravaz", plain(1)),
        ("yield / pruning weight, settled", "ravaz_settled", plain(1)),
    )
    rows = [
        ["buds per vine", *(f"{row['buds_per_vine']}" for row in levels)],
        [f"buds {per} of canopy", *(shown("per_m")(row["buds_per_m"]) for row in levels)],
        *([label, *(_ranged(row, name, show) for row in levels)] for label, name, show in ranged),
        ["shoot density against its band", *(row["density_word"] for row in levels)],
        ["yield / pruning weight against its band", *(row["balance_word"] for row in levels)],
        [
            "wood places lost per vine next winter, base of the old cane used too",
            *(wording.figure(row["places_lost_base_used_per_vine"], 2) for row in levels),
        ],
    ]
    return rows


def table_html(comparison, names, units):
    """Return the table of a comparison as HTML, one column a level."""
    heads = [""]
    for place, (plan, name) in enumerate(zip(comparison["plan"], names, strict=True), start=1):
        heads.append(f"{level_title(place, name)}: {plan}")
    caption = f"All figures of each level: middle, and in brackets the {ranges.label()}"
    return parts.head("Table") + parts.table(heads, table_rows(comparison, units), caption)


def sketches_html(comparison, plans, canopies, units):
    """Return the sketch of one vine for each level as HTML."""
    drawn = ""
    for place, (row, plan) in enumerate(
        zip(wording.levels(comparison), plans, strict=True), start=1
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
    quantity = _QUANTITY.get(entry["unit"])
    if quantity:
        centre = f"{units.convert(quantity, entry['centre']):.3g} {units.label(quantity)}"
    else:
        # The words of a component already say "per vine".
        unit = "" if entry["unit"] in ("1", "1/vine") else f" {entry['unit']}"
        centre = f"{entry['centre']:.3g}{unit}"
    grade = handbook.GRADES[handbook.entry(entry["key"]).grade]
    words = entry["words"]
    if units.name == "us":
        words = words.replace("per metre", "per foot")
    return (
        f"{words}: {centre}, spread about {100 * entry['spread']:.0f} %. "
        f"Came from {entry['came_from']} ({entry['detail']}). "
        f"Handbook start: {entry['key']}, {grade}."
    )


def sources_html(comparison, density, balance, units, variety=""):
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
    for entry in comparison.attrs["components"]:
        text += parts.source(entry["key"], _component(entry, units))
    for band, words in ((density, "shoots per metre"), (balance, "yield to pruning weight")):
        if band.key:
            text += parts.source(band.key, f"Band of {words}: {band.text()}")
        else:
            text += parts.note(f"Band of {words}: {band.text()}")
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
    """Return the notes of a comparison as HTML."""
    return parts.head("Notes") + parts.points(
        [
            *comparison.attrs["notes"],
            f"Ranges are the {comparison.attrs['interval']}, from {comparison.attrs['draws']:,} "
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
