"""Words of what the seasons taught: lessons, the trend of the vines, and buds that are enough."""

from cropload import handbook
from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS
from cropload.beliefs.origins import MOST_SHOWN
from cropload.review.accepting import newer_words
from cropload.review.vine_trend import (
    FALLING,
    HOLDING,
    NOT_CLEAR,
    RISING,
    STRONGER,
    TOO_FEW,
    WEAKER,
)
from cropload.show import wording
from cropload.units import METRIC

#: Part of a lesson's key before the colon -> what it is a lesson of.
KINDS = {
    "counting_bias": "counting bias",
    "increase_factor": "growth from lag phase",
    "ripening_factor": "growth from veraison",
    "recovery": "recovery",
    "counter": "counter",
    "load": "load response",
    "profile": "node profile",
}

#: Part of the load response -> what it moves, and the words of its figure.
LOADS = {
    "burst": "shoots per bud",
    "fertility": "clusters per shoot",
    "weight": "cluster weight",
    "noncount": "shoots from old wood",
    "pruning": "pruning weight",
}
LOAD_FIGURE = (
    "change when a vine carries 10 % more buds (of cluster weight: 10 % more clusters), once the "
    "vine has settled, from the third season on"
)


def in_per_cent(exponent):
    """Return what 10 % more load changes, from the power of the load it goes with [%].

    Examples
    --------
    >>> round(in_per_cent(-0.45), 1)
    -4.2
    """
    return 100 * (1.1**exponent - 1)


def lesson_name(key):
    """Return a lesson's key in words, such as ``counting bias: Riesling``.

    Examples
    --------
    >>> lesson_name("counting_bias:Riesling")
    'counting bias: Riesling'
    """
    kind, name = key.split(":", 1)
    return f"{KINDS.get(kind, kind)}: {LOADS.get(name, name) if kind == 'load' else name}"


def lesson_of(key):
    """Return the part of a lesson's key after the colon, of a load response with its words.

    Examples
    --------
    >>> lesson_of("counting_bias:Riesling"), lesson_of("load:burst")
    ('Riesling', 'burst (shoots per bud)')
    """
    kind, name = key.split(":", 1)
    return f"{name} ({LOADS[name]})" if kind == "load" else name


def figure_range(row, part):
    """Return a lesson's figure with its range, such as ``0.95 (0.89-1.01)``.

    That of a load response is told as what 10 % more load changes.
    """
    ends = tuple(row[f"{part}{end}"] for end in ("_low", "", "_high"))
    if row["topic"] == "load":
        return wording.ranged(map(in_per_cent, ends), signed_percent)
    return wording.ranged(ends, lambda value: wording.number(value, 2))


def signed_percent(value):
    """Return a change with its sign [%]."""
    return f"{wording.number(value, 1, signed=True)} %"


#: Share of a range below which two middles read as the same [1].
_SAME = 0.1


def now_text(row):
    """Return what a forecast uses now by itself: ``as after``, ``as before``, or its figure."""
    for part in ("after", "before"):
        width = row[f"{part}_high"] - row[f"{part}_low"]
        if abs(row["now"] - row[part]) <= _SAME * width:
            return f"as {part}"
    return figure_range(row, "now")


def lesson_kind(table):
    """Return what each lesson is a lesson of: the part of its key before the colon."""
    return [key.split(":", 1)[0] for key in table["key"]]


def by_kind(table):
    """Return a table of lessons with those of a kind together, in the order of ``KINDS``."""
    order = [list(KINDS).index(kind) for kind in lesson_kind(table)]
    return table.assign(order=order).sort_values("order", kind="stable").drop(columns="order")


def lesson_notes(entries):
    """Return how lessons are to be read, in sentences.

    Parameters
    ----------
    entries : iterable of Entry
        Those that can be accepted.
    """
    profiles = [f"{e.name} ({seasons_words(e.seasons)})" for e in entries if e.topic == "profile"]
    told = [f"profile: node profiles fitted to table fertility, of {', '.join(profiles)}."]
    return [*(told if profiles else ()), LEARN_NOTE, ACCEPT_NOTE]


def kind_sentence(kind, rows):
    """Return what the figure of a kind of lesson is, its name as ``accept`` takes it first."""
    told = [LOAD_FIGURE] if kind == "load" else dict.fromkeys(row["words"] for row in rows)
    sources = ", ".join(dict.fromkeys(row["before_from"] for row in rows))
    limit = "; cannot exceed 1, so its range ends there" if kind == "recovery" else ""
    named = kind if kind.replace("_", " ") == KINDS[kind] else f"{kind} ({KINDS[kind]})"
    return f"{named}: {'; '.join(told)}{limit}; before: {sources}"


def lesson_sentence(row):
    """Return a lesson in a sentence."""
    seasons = seasons_words(row["seasons"])
    words = row["words"]
    if row["topic"] == "load":
        words = f"{LOADS[row['key'].split(':')[1]]}, {LOAD_FIGURE}"
    return (
        f"{words} ({row['of']}): {figure_range(row, 'before')} before "
        f"({row['before_from']}), {figure_range(row, 'after')} after {seasons}; {row['said']}; a "
        f"forecast uses now: {now_text(row)}."
    )


LEARN_NOTE = (
    "Before: the handbook's figure, or that of a lesson you accepted earlier. After: what all "
    "seasons say, pulled towards the handbook where they are few. Now: what the next "
    "forecast works with by itself today, from the records it reads. 'moved': the figure "
    "before lies outside the range after, which chance alone does about one time in five."
)
ACCEPT_NOTE = (
    "A forecast already learns biases and factors from the seasons it reads; accepting holds them "
    "for later seasons and names them as the source. Counters and fitted node profiles are used "
    "only once accepted."
)


#: Figure of a trend -> its quantity, if it has a unit, and decimals in metric and in US units.
TREND_UNITS = {
    "pruning_weight": ("pruning_weight_kg_per_m", (2, 2)),
    "ravaz": ("", (1, 1)),
    "cane_weight": ("cluster_weight_g", (0, 3)),
    "crop": ("t_ha", (1, 1)),
}


def trend_label(figure, units=METRIC):
    """Return the unit that a figure of a trend is shown in."""
    quantity = TREND_UNITS[figure][0]
    weight = units.label("kg_per_vine")
    return units.label(quantity) if quantity else f"{weight}/{weight}"


def trend_values(figure, values, units=METRIC):
    """Return metric values of a figure of a trend in the units shown."""
    quantity = TREND_UNITS[figure][0]
    return units.convert(quantity, values) if quantity else values


def trend_note(holding, chance, least_seasons):
    """Return how a trend is to be read; arguments as in the handbook's ``trend``."""
    return (
        "Change in a year beside the other blocks in the same seasons, for what all of them do is "
        "weather, unless it is surely more; of fewer than five blocks, the whole change. Holding "
        f"is less than {wording.percent(holding)} a year. A change is named where it is surely "
        "one: of steady blocks fewer than one in ten are. Holding is said where its chance is "
        f"above {wording.percent(chance)}, and either after {least_seasons} seasons or more; else "
        "the trend is not clear. More wood is not always better, and a heavier load takes wood: "
        "read this beside the plans."
    )


def plan_lines(trend):
    """Return what the trends that are named mean for the next winter's plan, a sentence a block.

    Parameters
    ----------
    trend : DataFrame
        Of ``vine_trend``.

    Notes
    -----
    That buds go by the wood a vine made is common practice, no source.
    """
    mine = trend[trend["label"].isin([WEAKER, STRONGER, FALLING, RISING])]
    mine = mine[mine["block"] != "estate"]
    lines = []
    for block, rows in mine.groupby("block", sort=False):
        label = dict(zip(rows["figure"], rows["label"], strict=True))
        change = dict(zip(rows["figure"], rows["change_p50"], strict=True))
        # The index is crop over wood: alone it does not tell which of the two has moved.
        wood = next((f for f in ("pruning_weight", "cane_weight") if f in label), None)
        told = [
            f"{TREND_SHORT[figure]} {100 * change[figure]:+.0f} % a year"
            for figure in ("crop", "pruning_weight", "cane_weight", "ravaz")
            if figure in label
        ]
        crop = label.get("crop")
        if set(label) == {"ravaz"}:
            continue
        if wood and label[wood] == WEAKER:
            then = "leave fewer buds than last winter, by the wood weighed before you prune"
        elif crop == FALLING:
            then = (
                "the wood does not fall with it, as far as is known: look for missing vines, "
                "disease and poor budburst before you leave more buds"
                if wood
                else "weigh prunings this winter: only wood that holds can carry more buds"
            )
        elif wood:
            then = "its wood can carry more buds, if the shoots have room"
        else:
            then = "see that the wood keeps up: weigh prunings before you leave more buds"
        lines.append(f"{block}: {', '.join(told)}. Next winter: {then}.")
    return tuple(lines)


def crop_note(trend):
    """Return what a forecast goes on with of the crop's changes: a sentence, or none.

    Parameters
    ----------
    trend : DataFrame
        Of ``vine_trend``.
    """
    mine = trend[(trend["figure"] == "crop") & (trend["block"] != "estate")]
    mine = mine[mine["change_p50"].notna() & (mine["label"] != TOO_FEW)]
    if mine.empty:
        return ()
    most = mine.loc[mine["change_p50"].abs().nlargest(3).index].to_dict("records")
    told = "; ".join(
        f"{row['block']} {100 * row['forecast_change']:+.1f} of {100 * row['change_p50']:+.1f} %"
        for row in most
    )
    return (f"Few seasons tell little: of the crop's yearly change a forecast uses {told}.",)


#: Figure of a trend in a word or two.
TREND_SHORT = {
    "crop": "crop",
    "pruning_weight": "pruning weight",
    "cane_weight": "cane weight",
    "ravaz": "crop over prunings",
}


def trend_words(row):
    """Return a block's trend in words, such as ``holding (85 %)``.

    A trend that is not clear is told with all three chances.
    """
    told = ", ".join(
        f"{word} {wording.chance(row[f'chance_{each}'])}"
        for each, word in chance_words(row["figure"]).items()
    )
    return f"{row['label']} ({told})" if row["label"] == NOT_CLEAR else trend_tag(row)


def trend_tag(row):
    """Return a block's trend in few words: its label, and the highest chance of the three.

    Examples
    --------
    >>> row = {"label": "not clear", "chance_weaker": 0.54, "chance_holding": 0.45}
    >>> trend_tag(row | {"chance_stronger": 0.01, "figure": "crop"})
    'not clear (falling 54 %)'
    """
    if row["label"] == TOO_FEW:
        return row["label"]
    likeliest = max(CHANCES, key=lambda each: row[f"chance_{each}"])
    chance = wording.chance(row[f"chance_{likeliest}"])
    named = f"{chance_words(row['figure'])[likeliest]} " if row["label"] == NOT_CLEAR else ""
    return f"{row['label']} ({named}{chance})"


def fertility_notes(found):
    """Return whether enough buds were examined, and where fertility leaves the handbook's shape.

    Parameters
    ----------
    found : BudFertility
        Of ``bud_fertility``.
    """
    notes = []
    for name in found.names:
        mine = found.of(name)
        notes += [enough_sentence(found, name, wood) for wood in dict.fromkeys(mine["wood"])]
        notes += [differs_sentence(mine, name)] if len(mine) else []
    return tuple(notes)


def enough_sentence(found, name, wood, what="fertility"):
    """Return whether enough buds of one wood were examined, in a sentence.

    Parameters
    ----------
    found : BudFertility
        Of ``bud_fertility``.
    name, wood : str
        A group and a wood of it.
    what : str
        ``"fertility"`` or ``"burst"``.
    """
    mine = found.of(name, what)
    mine = mine[mine["wood"] == wood]
    short_of = mine[mine["buds_seen"] < mine["buds_enough"]]
    base = (
        f"{name}, {wood}s: {int(mine['buds_enough'].max())} buds at each node are enough for "
        f"{FERTILITY[what]} within {wording.percent(found.error)}"
    )
    if short_of.empty:
        return f"{base}; the {mine['buds_seen'].min():.0f} or more examined at each do."
    nodes = ", ".join(str(node) for node in short_of["node"])
    return f"{base}; too few so far at node{'s' if len(short_of) > 1 else ''} {nodes}."


def seasons_words(count):
    """Return a number of seasons in words."""
    return "1 season" if count == 1 else f"{count} seasons"


def alone_words(entries):
    """Return which lessons rest on one season alone, in a sentence; empty where none does."""
    alone = [lesson_name(entry.key) for entry in entries if entry.seasons == 1]
    if not alone:
        return ""
    what = f"{lessons_words(len(alone))} {'rests' if len(alone) == 1 else 'rest'} on one season"
    return (
        f"Mind: {what} alone, which cannot tell its own weather from what lasts: "
        f"{_cut_list(alone)}."
    )


def acceptance_notes(found, lessons):
    """Return what else is to be said of an acceptance, in sentences.

    Parameters
    ----------
    found : Weighed
        As from ``weighed``, before the lessons were kept.
    lessons : Lessons
        As from ``learn``.
    """
    notes = [alone_words(found.taken)]
    if found.taken and found.unchanged:
        notes.append(f"In force already, unchanged: {lessons_words(len(found.unchanged))}.")
    if found.newer:
        notes.append(newer_words(found, lessons))
    return tuple(note for note in notes if note)


def lessons_words(count):
    """Return a number of lessons in words."""
    return "1 lesson" if count == 1 else f"{count} lessons"


def entry_figure(entry):
    """Return an accepted figure as text, in the terms it is kept in.

    Parameters
    ----------
    entry : Entry
        As from ``read_learned``.
    """
    if entry.topic == "profile":
        return f"{len(entry.profile[0])} nodes of a cane, {len(entry.profile[2])} of a spur"
    if entry.topic == "load":
        settled = handbook.entry(f"load.{entry.name}.settled")
        change = in_per_cent(settled.value + settled.spread * entry.value)
        return f"{signed_percent(change)} for 10 % more load, once settled"
    return wording.number(min(entry.value, MOST_SHOWN.get(entry.name, entry.value)), 3)


def effect_sentence(effect):
    """Return what accepting lessons would change in the next forecast, in a sentence.

    Parameters
    ----------
    effect : LessonEffect
        Of ``lesson_effect``.
    """
    season, blocks = effect.season, effect[effect["name"] != "estate"]
    if not effect.lessons:
        return f"No lesson is ticked, so the forecast of {season} stays as it is."
    largest = blocks.loc[blocks["change"].abs().idxmax()]
    lessons = lessons_words(effect.lessons)
    if abs(largest["change"]) < _TELLING:
        return (
            f"Accepting {lessons} changes no block's middle of {season} by as much as a tenth of "
            "a per cent: the forecast already learns from the same records, and a node profile "
            "matters where a plan changes."
        )
    estate = float(effect[effect["name"] == "estate"]["change"].iloc[0])
    return (
        f"Accepting {lessons} moves the estate's middle of {season} by "
        f"{signed_percent(100 * estate)}, and {largest['name']}'s the most, by "
        f"{signed_percent(100 * largest['change'])}."
    )


def replay_lines(replay):
    """Return what lessons were worth in past seasons, a sentence a moment.

    Parameters
    ----------
    replay : DataFrame
        Of ``replay_lessons``.
    """
    if replay.empty:
        return ("No past season can be replayed yet: it takes three seasons on the scale.",)
    lines = []
    for moment, rows in replay.groupby("moment", sort=False):
        without, learnt = rows["without"].mean(), rows["with"].mean()
        better = int((rows["with"] < rows["without"] - _TELLING).sum())
        worse = int((rows["with"] > rows["without"] + _TELLING).sum())
        lines.append(
            f"{MOMENTS[moment]}: a miss of {100 * without:.1f} % of the crop without the "
            f"lessons of the seasons before, {100 * learnt:.1f} % with them; better in {better} "
            f"and worse in {worse} of {len(rows)} seasons."
        )
    return tuple(lines)


#: Change of a middle below which nothing is said to change [1].
_TELLING = 0.001

#: Figure of bud fertility -> its words.
FERTILITY = {"fertility": "clusters per shoot", "burst": "shoots per bud"}
#: Words of the three chances of a trend, as its columns are named.
CHANCES = ("weaker", "holding", "stronger")


def chance_words(figure):
    """Return how the three chances of a figure are called: {column: word}."""
    words = (FALLING, HOLDING, RISING) if figure == "crop" else CHANCES
    return dict(zip(CHANCES, words, strict=True))


WOOD_NOTE = (
    "The prunings weighed in a winter grew in the season before it, and are set against the crop "
    "and the shoots of that season. The range of a season is what its weighing leaves open."
)
RAVAZ_NOTE = (
    "The index of several blocks is the ratio of sums: all their crop over all their prunings, of "
    "the blocks in which both were weighed. A mean of the blocks' own indices can exceed it by a "
    "quarter."
)
TREND_ORIGIN = (
    "What a season's weather does to all blocks is learned from the records, with the handbook's "
    "spreads where they are few; a change is told by the block's own seasons beside that weather."
)
FERTILITY_NOTE = (
    "Fitted by a binomial model (shoots per bud) or a Poisson model (clusters per shoot) with a "
    "level of its own for each season and block, held to the handbook's shape where few buds were "
    "examined. Nodes that were not examined keep the handbook's shape. A forecast weighs the "
    "handbook's shape against the counts at hand by their number; this fitted profile is used "
    "once it is accepted (learned.toml)."
)


#: Names that a sentence lists at most.
_MOST_NAMED = 12


def _cut_list(names):
    text = ", ".join(names[:_MOST_NAMED])
    more = len(names) - _MOST_NAMED
    return f"{text} and {more} more, in the table" if more > 0 else text


def trend_sentence(trend, figure):
    """Return which blocks get weaker, hold or get stronger, with their chances, in a few sentences.

    Parameters
    ----------
    trend : VineTrend or DataFrame
        Of ``vine_trend``.
    figure : str
        One of its figures; what the others say of all blocks together stands at the end, so that
        no figure is read alone.
    """
    mine = trend[trend["figure"] == figure]
    told = {}
    for row in mine[mine["block"] != "estate"].to_dict("records"):
        words = trend_words(row).removeprefix(row["label"]).strip()
        told.setdefault(row["label"], []).append(f"{row['block']} {words}".strip())
    # A word that can be said first, what is not clear next, too few seasons last.
    order = sorted(told, key=lambda label: (label == TOO_FEW, label == NOT_CLEAR))
    words = mine["words"].iloc[0]
    text = " ".join(
        [
            f"{words[0].upper()}{words[1:]}.",
            *(f"{label[0].upper()}{label[1:]}: {_cut_list(told[label])}." for label in order),
        ]
    )
    if set(told) <= {NOT_CLEAR, TOO_FEW}:
        text += " So no block can be called weaker or stronger yet."
    estate = trend[trend["block"] == "estate"].to_dict("records")
    for row in estate:
        if row["figure"] == figure:
            text += f" All blocks together: {trend_words(row)}."
    others = [f"{r['words']}, {trend_tag(r)}" for r in estate if r["figure"] != figure]
    return f"{text} The same by other figures: {'; '.join(others)}." if others else text


def differs_sentence(mine, name):
    """Return at which nodes a fitted profile leaves the handbook's shape, in a sentence.

    Parameters
    ----------
    mine : DataFrame
        Rows of ``bud_fertility`` of one group and figure.
    name : str
        The group.
    """
    off = mine[mine["differs"]]
    if off.empty:
        return f"{name}: no node's range leaves the handbook's shape out."
    told = [
        f"{row['wood']} node {row['node']} "
        f"({'below' if row['relative_p50'] < row['handbook'] else 'above'})"
        for row in off.to_dict("records")
    ]
    return (
        f"{name} differs from the handbook's shape at {', '.join(told)}; by chance alone about "
        f"{(1 - ranges.level()) * len(mine):.0f} of {len(mine)} nodes would."
    )
