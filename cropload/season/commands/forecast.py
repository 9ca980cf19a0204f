"""The command ``forecast``: a season's crop on any day of it."""

from cropload.beliefs import ranges
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.show import options
from cropload.show.command import Command


def _arguments(parser):
    options.add_records(parser)
    options.add_season(parser)
    add_as_of(parser)
    parser.add_argument(
        "--by",
        metavar="WHAT",
        choices=("block", "variety", "estate"),
        default="block",
        help="rows of the table: block (the default), variety or estate",
    )
    parser.add_argument(
        "--since",
        metavar="DATE",
        help="also say what changed since the forecast of this day",
    )
    parser.add_argument(
        "--log", action="store_true", help="keep this forecast in forecasts.csv of the folder"
    )
    options.add_units(parser)
    options.add_draws(parser)
    options.add_csv(parser)


def add_as_of(parser):
    """Add the day up to which records speak."""
    parser.add_argument(
        "--as-of",
        metavar="DATE",
        help="use only records up to this day, like 2026-07-15; all of them by default",
    )


def made(given, records, as_of=None):
    """Return the forecast that a command is asked about."""
    from cropload.beliefs.forecast import forecast

    return forecast(
        records,
        getattr(given, "season", None),
        given.as_of if as_of is None else as_of,
        draws=getattr(given, "draws", DEFAULT_DRAWS),
        seed=getattr(given, "seed", 0),
    )


def heading(found):
    """Return which season, as of when, and where the season stands, in a sentence."""
    when = "from all records" if found.as_of is None else f"as of {found.as_of:%Y-%m-%d}"
    return (
        f"Forecast of season {found.season} {when}: {found.stage}. "
        f"Each figure is the middle, with its {found.attrs()['interval']}, in brackets."
    )


def _run(given):
    records = options.records_of(given)
    found = made(given, records)
    units = options.units_of(given)
    options.save(given, export(found.table(given.by), units))
    from cropload.clock import day

    since, until = day(given.since), found.as_of
    if since is not None and until is not None and since >= until:
        raise CroploadError(
            f"--since {given.since} is not before {until:%Y-%m-%d}, the day of the forecast. Give "
            "an earlier day."
        )
    earlier = None if since is None else made(given, records, given.since)
    season = options.season_text(records, given.season, found.season)
    text = "\n\n".join(_parts(found, earlier, given.by, units, season))
    if given.log:
        keep(found, records, given)
    return text


def keep(found, records, given):
    """Append a forecast to the log of the user's folder, and say so."""
    from cropload.errors import CroploadError
    from cropload.season.log_writing import log_forecast

    if given.example:
        raise CroploadError(
            "The sample estate keeps no log. Make a folder of your own with "
            "`cropload new FOLDER --example` and give that."
        )
    options.note(f"Kept in: {log_forecast(found, records.path)}")


def export(table, units):
    """Return a table as it is written to a file: self-explaining rows, chosen units."""
    from cropload.show.result_units import in_units

    shown = in_units(table, units)
    if units.name == "us":
        shown["range_tons"] = units.convert("tonnes", shown.pop("range_t"))
        shown["area_ac"] = units.convert("area_ha", shown.pop("area_ha"))
    for name in ("interval", "draws", "seed"):
        shown[name] = table.attrs[name]
    for name in ("stage", "as_of", "season"):
        shown.insert(0, name, table.attrs[name])
    return shown


def _parts(found, earlier, by, units, season=""):
    from cropload.season.words import contribution_sentence
    from cropload.show.terminal import paragraph

    yield paragraph(heading(found))
    if season:
        yield season
    yield crop_table(found, by, units)
    yield paragraph(contribution_sentence(found.contributions("estate")))
    if earlier is not None:
        yield changes(found, earlier, units)
    for note in found.notes:
        yield paragraph(note, "- ")
    yield paragraph(options.CAUTION)


def crop_table(found, by, units):
    """Return the crop by block, variety or estate as text, the estate's total at its end."""
    from cropload.show.terminal import Column, range_texts, text_table, words
    from cropload.show.wording import significant as figure

    table, total = found.table(by), found.table("estate")
    frames = [table] if by == "estate" else [table, total]

    def column(name, quantity):
        cells = []
        for frame in frames:
            ends = [units.convert(quantity, frame[f"{name}_{e}"]) for e in ranges.ENDINGS]
            cells += range_texts(zip(*ends, strict=True))
        return cells

    names = [*table[by], *(["estate"] if by != "estate" else [])]
    plans = [*(p or "-" for p in table["plan"]), ""] if by == "block" else None
    area = [figure(units.convert("area_ha", a)) for frame in frames for a in frame["area_ha"]]
    heads = [words(by), Column("area", units.label("area_ha"))]
    cells = [names, area, column("tonnes", "tonnes"), column("t_ha", "t_ha")]
    if plans:
        heads.insert(1, words("plan"))
        cells.insert(1, plans)
    heads += [Column("crop", units.label("tonnes")), Column("crop", units.label("t_ha"))]
    return "CROP at the scale\n" + text_table(heads, zip(*cells, strict=True))


def changes(found, earlier, units):
    """Return what changed since an earlier forecast, by component, adding up."""
    from cropload.season.words import change_sentence, change_table, short, signed
    from cropload.show.terminal import Column, paragraph, text_table, words

    change = found.explain(earlier)
    rows = [
        (short(name), signed("tonnes", move, units, places=2))
        for name, move in change_table(change).itertuples(index=False)
        if abs(move) >= 0.005
    ]
    rows.append(("all together", signed("tonnes", change.attrs["change_t"], units, places=2)))
    table = text_table([words("component"), Column("change of the middle")], rows)
    return f"WHAT CHANGED\n{paragraph(change_sentence(change, earlier, units))}\n{table}"


COMMANDS = (
    Command(
        name="forecast",
        group="The growing season",
        summary="forecast the crop of a season, narrowed by every count so far",
        details="Forecasts every block's crop in t and t/ha (short tons and ton/ac with --units "
        "us) from its history and its plan, narrowed by every count and weight up to a day. "
        "Counts in some blocks also narrow the others, through what blocks share.",
        example="""
            cropload forecast my_season --as-of 2026-07-15 --by variety
            cropload forecast --example --as-of 2026-08-15 --since 2026-03-01
        """,
        arguments=_arguments,
        run=_run,
    ),
)
