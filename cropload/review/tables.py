"""Tables of the review: scores, parts of a miss, lessons, the vines, and fertility by node."""

import math

from cropload.beliefs import ranges
from cropload.review import lesson_words, words
from cropload.review.learning import HANDBOOK
from cropload.review.picked import OWN
from cropload.review.vine_trend import FIGURES, ravaz_of
from cropload.show import wording
from cropload.show.table import (
    CHANCE,
    CHANGE,
    DATE,
    NUMBER,
    RANGE,
    SHARE,
    SIGNED,
    WHOLE,
    Column,
    Table,
)
from cropload.units import METRIC

#: Baseline -> its short name over a column.
GUESSES = {
    "last_season": "as last season",
    "block_mean": "block's mean",
    "count_x_last_weight": "count x last weight",
    OWN: "own estimate",
}


#: Crops of a season that are drawn as a dot each, at most [1].
_MOST_DOTS = 12


def _inside(row):
    if not math.isfinite(row["seen"]):
        return None
    span = wording.ranged((row["inside_low"], None, row["inside_high"]), wording.percent)
    return f"{row['inside']} of {row['seen']} ({span})"


#: Columns of the scores of some crops.
_SCORES = (
    (Column("bias", SIGNED, unit="%", places=0), lambda row: 100 * row["bias"]),
    (Column("miss", SHARE), "weighted_miss"),
    (Column("inside"), _inside),
    (Column("width", SHARE), "width_share"),
    (Column("score", NUMBER, "tonnes", places=2), "crps_t"),
)


def scores_table(scores):
    """Return the table of the scores of every moment; ``scores`` is of ``level_scores``."""
    day = (Column("day", DATE), lambda row: scores.days[row["moment"]]) if scores.days else None
    caption = f"Scores by moment, {words.season_span(scores.seasons)}"
    rows = scores.frame.to_dict("records")
    return Table.of("scores", caption, rows, [(Column("forecast"), "words"), day, *_SCORES])


def season_scores_table(each, moment, named):
    """Return the table of the scores of one moment season by season.

    Parameters
    ----------
    each : sequence of Scores
        Of one season each.
    moment, named : str
        Key of the moment, and its words.
    """
    rows = []
    for scores in each:
        mine = scores[scores["moment"] == moment].to_dict("records")
        missing = dict.fromkeys(scores.frame.columns, math.nan)
        season = f"{scores.seasons[0]}{'' if mine else ', not on record'}"
        rows.append((mine[0] if mine else missing) | {"season": season})
    columns = [(Column("season"), "season"), *_SCORES]
    return Table.of("seasons", f"Season by season, {named}", rows, columns)


def inside_table(counts):
    """Return the table of crops that came inside their range, a dot each, by season and moment.

    Parameters
    ----------
    counts : DataFrame
        Of ``inside_counts`` [1].
    """

    def cell(moment):
        def told(row):
            if moment not in row:
                return None
            inside, seen = row[moment]
            dots = "●" * inside + "○" * (seen - inside) if seen <= _MOST_DOTS else ""
            return f"{inside} of {seen} {dots}".strip()

        return told

    rows = {}
    for each in counts.itertuples():
        row = rows.setdefault(each.season, {"season": str(each.season)})
        row[each.moment] = (each.inside, each.seen)
    words = dict(zip(counts["moment"], counts["words"], strict=True))
    columns = [(Column("season"), "season")]
    columns += [(Column(name), cell(moment)) for moment, name in words.items()]
    caption = "Crops inside their range; ● came inside, ○ did not"
    return Table.of("inside", caption, rows.values(), columns)


def guesses_table(scores, units=METRIC):
    """Return the table of a grower's own guesses, the forecast's own beside each in brackets."""
    label = units.label("tonnes")

    def pair(column, first, second):
        def cell(row):
            if not math.isfinite(row[first]):
                return None
            return f"{column.text(row[first], units)} ({column.text(row[second], units)})"

        return cell

    columns = [(Column("forecast"), "words")]
    miss, score = Column("", SHARE), Column("", NUMBER, "tonnes", places=2)
    for key, name in GUESSES.items():
        if key == OWN and not scores.frame[f"{key}_seen"].any():
            continue
        columns.append((Column(name), pair(miss, f"{key}_miss", f"{key}_beside")))
        cell = pair(score, f"{key}_crps_t", f"{key}_beside_crps_t")
        columns.append((Column(f"{name}: score", unit=label), cell))
    caption = "A grower's own guesses; in brackets the forecast's own over the same crops"
    return Table.of("guesses", caption, scores.frame.to_dict("records"), columns)


def logged_table(logged):
    """Return the table of the scores of the log; ``logged`` is that of a ``SeasonReview``."""
    late = logged["kept_after_first_load"].any()
    caption = "Forecasts kept in the log, scored as they were kept"
    columns = [
        (
            Column("kept on"),
            lambda row: f"{row['logged_at'][:10]}{' *' * row['kept_after_first_load']}",
        ),
        (Column("as of"), lambda row: row["as_of"] or "all records"),
        (Column("stage"), "words"),
        *_SCORES,
    ]
    caption += "; * kept after the first load" if late else ""
    return Table.of("logged", caption, logged.to_dict("records"), columns, heads=2)


def crops_table(crops, level):
    """Return the table of crops of one moment against the scale.

    Parameters
    ----------
    crops : DataFrame
        Of ``SeasonReview.frame_by``, of one moment.
    level : str
        What a row is.
    """
    columns = [
        (Column(level), "name"),
        (Column("forecast", RANGE, "tonnes"), "tonnes"),
        (Column("scale", NUMBER, "tonnes"), "picked_t"),
        (
            Column("forecast was off by", SIGNED, unit="%", places=0),
            lambda row: 100 * row["error_share"],
        ),
        (Column("scale against the range"), words.side_word),
        (Column("own estimate", NUMBER, "tonnes"), OWN) if crops[OWN].notna().any() else None,
        (Column("score", NUMBER, "tonnes", places=2), "crps_t"),
    ]
    caption = f"The same in numbers; forecast: middle and {ranges.label()}"
    return Table.of("crops", caption, crops.to_dict("records"), columns)


def parts_table(split):
    """Return the table of the parts of each block's miss; ``split`` is of ``split_miss``."""
    table = words.miss_table(split.frame)
    columns = [(Column("block"), "block")]
    columns += [
        (
            Column(name, SIGNED, unit="%", places=1),
            lambda row, name=name: 100 * row[name],
        )
        for name in table.columns
    ]
    caption = "Parts of the miss in per cent of the crop picked; they add up"
    return Table.of("parts", caption, table.reset_index().to_dict("records"), columns)


def origins_table(found, blocks):
    """Return the table of where each block's components came from; ``found`` is a forecast."""
    table = found.components
    wide = table.pivot(index="block", columns="component", values="came_from").loc[blocks]
    columns = [(Column("block"), "block")]
    for name in dict.fromkeys(table["component"]):
        columns.append((Column(words.part_name(name)), name))
    rows = wide.reset_index().to_dict("records")
    return Table.of("origins", "Where it came from", rows, columns)


# ------------------------------------------------------------------ lessons


def lesson_tables(lessons):
    """Return the tables of lessons before and after, one a kind; ``lessons`` is of ``learn``."""
    kinds = {}
    for row in lesson_words.by_kind(lessons.frame).to_dict("records"):
        kinds.setdefault(row["key"].split(":", 1)[0], []).append(row)
    return tuple(_lesson_table(kind, rows) for kind, rows in kinds.items())


def _lesson_table(kind, rows):
    load = kind == "load"
    figure = (CHANGE, "", "%", 1) if load else (RANGE, "", "1", 2)

    def ends(part):
        names = [f"{part}{end}" for end in ("_low", "", "_high")]
        shown = lesson_words.in_per_cent if load else float
        return lambda row: tuple(shown(row[name]) for name in names)

    accepted = any(row["before_from"] != HANDBOOK for row in rows)
    now = {lesson_words.now_text(row) for row in rows}
    columns = [
        (Column("of"), lambda row: lesson_words.lesson_of(row["key"])),
        (Column("seasons", WHOLE), "seasons"),
        (Column("before", *figure), ends("before")),
        (Column("after", *figure), ends("after")),
        (Column("before from"), "before_from") if accepted else None,
        (Column("now"), lesson_words.now_text) if len(now) > 1 else None,
        (Column("it has"), "said"),
    ]
    caption = lesson_words.kind_sentence(kind, rows)
    caption += f"; now: {now.pop()}" if len(now) == 1 else ""
    return Table.of(kind, caption, rows, columns)


def profile_table(profiles):
    """Return the table of node profiles before and after, a row a variety, wood and figure."""
    nodes = sorted(profiles["node"].unique())
    rows = []
    for (variety, wood, what), mine in profiles.groupby(["variety", "wood", "what"], sort=False):
        row = {"name": f"{variety}, {wood}s", "figure": lesson_words.FERTILITY[what]}
        pairs = zip(mine["node"], mine["before"], mine["after"], strict=True)
        row |= {node: f"{before:.2f} > {after:.2f}" for node, before, after in pairs}
        rows.append(row | {"seasons": mine["seasons"].iloc[0]})
    columns = [
        (Column("node profile"), "name"),
        (Column("relative", unit="1"), "figure"),
        (Column("seasons", WHOLE), "seasons"),
        *((Column(f"node {node}"), lambda row, node=node: row.get(node, "")) for node in nodes),
    ]
    return Table.of("profiles", "Fitted to table fertility; before > after", rows, columns, 2)


def acceptance_table(accepted):
    """Return the table of what became of each lesson; ``accepted`` is of ``accept``."""
    columns = [
        (Column("lesson"), "key"),
        (Column("seasons", WHOLE), "seasons"),
        (Column("up to"), lambda row: str(row["through"])),
        (Column("it is"), "outcome"),
    ]
    return Table.of("accepted", "", accepted.frame.to_dict("records"), columns)


def effect_table(effect):
    """Return the table of what lessons change in the next forecast, a row a block, and all.

    Parameters
    ----------
    effect : LessonEffect
        Of ``lesson_effect``.
    """
    columns = [
        (Column("block"), "name"),
        (Column("as it stands", RANGE, "tonnes"), "before"),
        (Column("once accepted", RANGE, "tonnes"), "after"),
        (Column("change of middle", SIGNED, unit="%", places=1), lambda row: 100 * row["change"]),
    ]
    caption = (
        f"Season {effect.season}: middle and {ranges.label()}, with "
        f"{lesson_words.lessons_words(effect.lessons)} ticked"
    )
    return Table.of("effect", caption, effect.frame.to_dict("records"), columns)


def force_table(entries, path):
    """Return the table of what has been accepted.

    Parameters
    ----------
    entries : sequence of Entry
        As from ``read_learned``.
    path : path
        Where they are kept.
    """
    columns = [
        (Column("lesson"), lambda entry: lesson_words.lesson_name(entry.key)),
        (Column("figure", unit="1"), lesson_words.entry_figure),
        (Column("seasons that spoke", WHOLE), lambda entry: entry.seasons),
        (Column("used for"), lambda entry: f"seasons after {entry.through}"),
    ]
    return Table.of("force", f"Accepted, from {path.name}", entries, columns)


# ------------------------------------------------------------------ vines


def trend_table(trend):
    """Return the table of every block's trend in few words; ``trend`` is of ``vine_trend``."""
    rows = {name: {"block": name} for name in (*trend.blocks, "estate")}
    for row in trend.frame.to_dict("records"):
        rows[row["block"]][row["figure"]] = lesson_words.trend_tag(row)
    rows = [row for row in rows.values() if len(row) > 1]
    columns = [
        (Column(title), lambda row, figure=figure: row.get(figure, "not measured"))
        for figure, title in zip(
            FIGURES, ("pruning weight", "Ravaz index", "cane weight", "crop"), strict=True
        )
    ]
    return Table.of("trend", "", rows, [(Column("block"), "block"), *columns])


def change_table(trend, figure, blocks=None):
    """Return the table of the yearly change of one figure, with the chances.

    Parameters
    ----------
    trend : VineTrend
        Of ``vine_trend``.
    figure : str
        A key of ``FIGURES``.
    blocks : collection of str, optional
        Rows to show; all of them when left out.
    """
    mine = trend.of(figure)
    mine = mine if blocks is None else mine[mine["block"].isin(blocks)]

    def change(row):
        return tuple(100 * row[f"change_{end}"] for end in ranges.ENDINGS)

    columns = [
        (Column("block"), "block"),
        (Column("it is"), "label"),
        (Column("seasons"), lambda row: "{seasons}, {first} to {last}".format(**row)),
        (Column("a year", CHANGE, unit="%", places=1), change),
    ]
    if figure == "crop":
        goes_on = lambda row: f"{100 * row['forecast_change']:+.1f}"  # noqa: E731
        columns.append((Column("forecast uses", unit="%"), goes_on))
    columns += [
        (Column(word, CHANCE), f"chance_{each}")
        for each, word in lesson_words.chance_words(figure).items()
    ]
    caption = f"Yearly change of the {FIGURES[figure][0]} ({ranges.label()}), with chances"
    return Table.of(f"change_{figure}", caption, mine.to_dict("records"), columns)


def seasons_table(trend, figure, blocks, units=METRIC):
    """Return the table of one figure by season, of the index also for several blocks together.

    Parameters
    ----------
    trend, figure
        As in ``change_table``.
    blocks : sequence of str
        Rows to show.
    units : UnitSystem
        Units to show: they decide on the decimals.
    """
    figures = trend.figures[trend.figures["block"].isin(blocks)]
    rows = figures[figures[figure] > 0]
    wide = rows.pivot_table(index="block", columns="season", values=figure, sort=True)
    wide = wide.reindex([name for name in blocks if name in wide.index])
    seasons = list(wide.columns)
    cells = [{"name": name} | row for name, row in wide.to_dict("index").items()]
    for by in ("variety", "estate") if figure == "ravaz" else ():
        sums = ravaz_of(figures, by)
        total = sums.pivot_table(index=by, columns="season", values="ravaz", sort=True)
        cells += [
            {"name": f"all {name}" if by == "variety" else "all together"} | row
            for name, row in total.reindex(columns=seasons).to_dict("index").items()
        ]
    quantity, places = lesson_words.TREND_UNITS[figure]
    columns = [(Column("block"), "name")]
    columns += [
        (Column(str(season), NUMBER, quantity, places=places[units.name == "us"]), season)
        for season in seasons
    ]
    title = FIGURES[figure][0]
    label = lesson_words.trend_label(figure, units)
    caption = f"{title[0].upper()}{title[1:]} by season of growth [{label}]"
    return Table.of(f"seasons_{figure}", caption, cells, columns)


def fertility_table(found, name, what):
    """Return the table of one group's fitted nodes.

    Parameters
    ----------
    found : BudFertility
        Of ``bud_fertility``.
    name, what : str
        A group of it, and ``"fertility"`` or ``"burst"``.
    """
    columns = [
        (Column("node"), lambda row: f"{row['wood']}, node {row['node']}"),
        (Column(lesson_words.FERTILITY[what], RANGE, unit="1", places=2), "value"),
        (Column("relative", RANGE, places=2), "relative"),
        (Column("handbook", NUMBER, places=2), "handbook"),
        (Column("against it"), lambda row: "differs" if row["differs"] else "agrees"),
        (Column("buds examined", WHOLE), "buds_seen"),
        (Column("buds enough", WHOLE), "buds_enough"),
    ]
    rows = found.of(name, what).to_dict("records")
    return Table.of(
        "fertility", f"{name}: fitted by node, with the {ranges.label()}", rows, columns
    )
