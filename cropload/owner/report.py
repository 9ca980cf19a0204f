"""The owner's report: one page of HTML that needs nothing else, a PDF and a workbook."""

import datetime
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from cropload import arguments, clock
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.owner import charts as report_figures
from cropload.owner import words as report_words
from cropload.owner.kept_report import Since, since_kept, since_table, since_text
from cropload.owner.report_settings import FEW, PARTS, ReportSettings, read_settings
from cropload.owner.scenarios import Scenarios
from cropload.owner.tables import blocks_table, changes_tables, do_table
from cropload.owner.why_tables import why_figure, why_tables, why_text
from cropload.records.writing.gate import Result, check_results, workbook_bytes, write_results
from cropload.show import excel, html, wording
from cropload.show.languages import day_words, language_now, say, say_number, speaking
from cropload.show.options import PRUNING_CAUTION
from cropload.units import METRIC, UnitSystem, unit_system

#: A sheet of the workbook for each table, and its name.
SHEETS = {
    "do": "what to do",
    "blocks": "every block",
    "changes": "since the last report",
    "beside": "beside the first",
    "money_change": "money by season",
    "crop_change": "crop by season",
    "turns": "when it pays",
    "inputs": "what moves it",
    "totals": "crop in total",
    "crop": "crop by block",
    "balance": "balance",
    "wood": "wood",
    "frost": "frost",
    "money": "money",
    "contracts": "prices",
    "costs": "costs",
    "components": "components",
    "handbook": "handbook",
}

#: Blocks to change that the first page lists; the sheet and the page list all of them.
_FIRST_PAGE = 8
#: Size of letters of a table on paper [point], and how many of them stand across a page.
_LETTERS, _ACROSS = 7.6, 118

#: How to get what a PDF needs; Pango is a library of the system that pip cannot bring.
PDF_HOW = (
    'Install it with `python -m pip install "cropload[pdf]"`, and Pango with the system\'s own '
    "tools: `apt-get install libpango-1.0-0 libpangoft2-1.0-0` on Debian and Ubuntu, "
    "`brew install pango` on macOS, MSYS2's pango package on Windows. Or open the HTML report in "
    "a browser and print it to a PDF."
)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class OwnerReport(Answer):
    """A report with everything decided: comparison, units, and what is said of them.

    Attributes
    ----------
    frame : DataFrame
        That of the comparison: one row a block and scenario.
    found : Scenarios
        The numbers.
    units : UnitSystem
        Units of the page and of the workbook.
    invented : bool
        Whether the records are the invented sample.
    made_on : date
        Day on the report.
    told : ReportSettings
        Whose it is, how it looks, and in which language.
    since : Since or None
        What changed since the last report kept; None where none is.
    """

    found: Scenarios
    units: UnitSystem
    invented: bool
    made_on: datetime.date
    told: ReportSettings = field(default_factory=ReportSettings)
    since: Since | None = None

    def heading(self, units=None):
        """Return the recommendation in one piece."""
        return self.found.heading(units or self.units)

    def tables(self, units=None):
        """Return all tables there are."""
        changes = since_table(self.since)
        return [*self.found.tables(units or self.units), *([changes] if changes else [])]

    def text(self, units=None, width=80):
        """Return the answer as text, in the report's own units unless others are asked for."""
        return super().text(units or self.units, width)

    def _repr_html_(self):
        from cropload.show.answers import as_html

        return as_html(self, self.units)

    def plot(self, ax=None, units=None):
        """Draw what each scenario brings beside the first one over the seasons followed."""
        return self.found.plot(ax, units or self.units)

    def sentences(self):
        """Return the recommendation as (what it is about, sentences) pairs."""
        told = report_words.recommendation(self.found, self.units)
        if self.since is not None:
            text = since_text(self.since, self.found, self.units)
            told.append((say("Since the last"), text))
        return told

    def settings(self):
        """Return version, season, seed and the like as (name, value)."""
        from cropload import __version__

        return report_words.settings(
            self.found, self.units, __version__, self.made_on, self.invented
        )

    def html(self):
        """Return the report as one HTML page without any outside address."""
        with speaking(self.told.speech):
            return self._html()

    def _html(self):
        found, units = self.found, self.units
        first, blocks = do_table(found, _FIRST_PAGE), blocks_table(found)
        return _template().render(
            language=language_now(),
            title=say("Pruning for the harvest of %(season)s", season=found.season),
            style=html.STYLE,
            settings=self.told,
            facts=self._facts(),
            found=found,
            sentences=self.sentences(),
            often=ranges.often(),
            do_first=first.html(units) if first else "",
            blocks=blocks.html(units),
            sizes=[_letters(table, units) for table in (first, blocks)],
            first_figure=report_figures.first_figure(found, units)[0],
            bands=self._bands(),
            made=self._made(),
            pruning_caution=PRUNING_CAUTION,
            support=wording.SUPPORT,
            money_caution=report_words.MONEY_CAUTION,
            frost_caution=report_words.FROST_CAUTION,
            invented=self.invented,
            **self._appendix(),
        )

    def _appendix(self):
        """Return what the appendix is made of, in English whatever the first pages are in."""
        found, units = self.found, self.units
        parts, many = self.told.parts(len(found.block_names)), len(found.block_names) > FEW
        if not parts:
            return {"appendix": ()}
        with speaking(replace(self.told.speech, language="en")):
            shown = _in_short(found) if many else found
            made, since = shown.tables(units), since_table(self.since)
            made += [*changes_tables(found, many), *([since] if since else [])]
            why = why_text(found, units) if "why" in parts else ""
            made += why_tables(found, units, many) if why else []
            figures = [
                figure
                for about in ("density", "balance") if "balance" in parts
                for figure in report_figures.band_figures(found, about, units, many)
            ]  # fmt: skip
            empty = {"why": not why, "changes": not since}
            return {
                "appendix": tuple(part for part in parts if not empty.get(part)),
                "titles": PARTS,
                "many": many,
                "tables": {table.key: table.html(units) for table in made},
                "band_figures": figures,
                "why_text": why,
                "why_figure": why_figure(found, units) if why else "",
                "risks": report_words.risks(found, units),
                "frost_notes": report_words.frost_notes(found),
                "rests_on": self.settings(),
                "cautions": wording.CAUTIONS,
                "gain": wording.FIRST_SEASON_GAIN,
            }

    def _facts(self):
        """Return who made it and when, and what it is of, for the head of the page."""
        found, names = self.found, self.found.block_names
        parts = found.frame.drop_duplicates("block")
        area = wording.amount("area_ha", float(parts["area_ha"].sum()), self.units)
        blocks = say_number("%(number)s block", "%(number)s blocks", len(names))
        named = "" if len(names) > FEW else f": {', '.join(names)}"
        grown = ", ".join(dict.fromkeys(parts["variety"]))
        by = [self.told.author] if self.told.author else []
        day = day_words(self.made_on, language_now())
        return [*by, day, f"{blocks}, {area}{named} ({grown})"]

    def _made(self):
        """Return on what the report rests, for its last line."""
        from cropload import __version__

        found = self.found
        return [
            say("made with %(name)s", name=f"cropload {__version__}"),
            say("season (year of harvest) %(season)s", season=found.season),
            say("%(draws)s draws", draws=wording.number(found.draws, 0)),
            say("seed %(seed)s", seed=found.seed),
        ]  # fmt: skip

    def _bands(self):
        """Return each pair of bands in English words, with the blocks it is for."""
        grouped = {}
        for block, (density, balance) in self.found.bands.items():
            pair = (
                wording.band_text(density, self.units, "per_m"),
                wording.band_text(balance),
            )
            grouped.setdefault(pair, []).append(block)
        with speaking(replace(self.told.speech, language="en")):
            return [(*pair, report_words.listed(blocks)) for pair, blocks in grouped.items()]

    def pdf(self):
        """Return the report as the bytes of a PDF.

        Raises
        ------
        CroploadError
            When WeasyPrint or its system library is not there, with the way to get it.
        """
        return pdf_of(self.html())

    def workbook(self):
        """Return the report's tables as the bytes of an .xlsx workbook.

        Notes
        -----
        Numbers are stored in full in the units shown; a share is stored as a fraction of one.
        """
        book = excel.new_book()
        made = [*self.tables(), *why_tables(self.found, self.units)]
        tables = {table.key: table for table in made}
        tables = [tables[key] for key in SHEETS if key in tables]
        excel.add_lines(book, "notes", self._lines(tables))
        for table in tables:
            excel.add_table(book, SHEETS[table.key], table, self.units)
        return workbook_bytes(book)

    def _lines(self, tables):
        """Return what the first sheet says, (word, text) a line."""
        found = self.found
        notes = [*found.notes, found.money_missing, *report_words.frost_notes(found)]
        return [
            ("Pruning scenarios: notes to these tables", ""),
            *((name, self.made_on if name == "made on" else value)
              for name, value in self.settings()),
            ("", ""),
            ("recommendation", ""),
            *self.sentences(),
            ("", ""),
            ("sheets", ""),
            *((SHEETS[table.key], table.caption) for table in tables),
            ("", ""),
            ("notes", ""),
            *(("", note) for note in notes if note),
            ("", ""),
            ("cautions", ""),
            *wording.CAUTIONS,
            ("", report_words.MONEY_CAUTION),
            ("", wording.SUPPORT),
        ]  # fmt: skip


@arguments.check_arguments(
    records=arguments.records,
    scenarios=arguments.kind("Scenarios", "Make one first: compare_scenarios(records, {...})."),
    made_on=arguments.optional(arguments.day),
    settings=arguments.optional(
        arguments.kind(
            "ReportSettings",
            "Read them first: cropload.owner.report_settings.read_settings(path).",
        )
    ),
)
def report(records, scenarios, units=METRIC, made_on=None, settings=None):
    """Make the owner's report of a comparison of scenarios.

    Parameters
    ----------
    records : Records
        What the comparison was made from.
    scenarios : Scenarios
        As from ``compare_scenarios``.
    units : UnitSystem or str
        ``"metric"`` or ``"us"``: units to show.
    made_on : date, optional
        Day on the report; that of the settings, or today, when left out.
    settings : ReportSettings, optional
        Whose report it is and how it looks; those of ``report.toml`` beside the records when left
        out, and what is usual where there is none.

    Returns
    -------
    OwnerReport
        ``.html()`` is the page, ``.pdf()`` and ``.workbook()`` the bytes of the files.

    Raises
    ------
    CroploadError
        For something else than a comparison, units that are none, or settings that cannot be used.

    Notes
    -----
    Valid as ``compare_scenarios``.
    """
    told = read_settings(records.path) if settings is None else settings
    if told.currency and scenarios.currency:
        scenarios = replace(scenarios, currency=told.currency)
    return OwnerReport(
        frame=scenarios.frame,
        notes=scenarios.notes,
        found=scenarios,
        units=unit_system(units),
        invented=is_invented(records),
        made_on=made_on or told.date or clock.today(),
        told=told,
        since=since_kept(records, scenarios),
    )


def _letters(table, units):
    """Return the size of letters at which the rows of a table stay on one line of paper [point]."""
    if table is None:
        return _LETTERS
    heads, _, rows = table.cells(units)
    columns = zip(*rows, [max(head.split(), key=len) for head in heads], strict=True)
    wide = sum(2 + max(map(len, column)) for column in columns)
    return round(min(_LETTERS, _LETTERS * _ACROSS / wide), 1)


def _in_short(found):
    """Return a comparison whose rows are those of the first scenario and of the plans to take."""
    frame, picks = found.frame, found.decision.picks
    taken = frame["scenario"] == frame["block"].map(picks)
    return replace(found, frame=frame[taken | (frame["scenario"] == found.names[0])])


def is_invented(records):
    """Return whether records are the sample estate, where it ships or as a copy of it."""
    from cropload.records.example import shipped

    if records.blocks["region"].astype(str).str.contains("invented", case=False).any():
        return True
    try:
        return Path(records.path).resolve().is_relative_to(shipped("sample_data").resolve())
    except CroploadError:
        return False


def pdf_of(html):
    """Return an HTML page as the bytes of a PDF, without asking any address.

    Raises
    ------
    CroploadError
        When WeasyPrint or its system library is not there, with the way to get it.
    """
    try:
        import weasyprint
    except ImportError:
        raise CroploadError(f"A PDF needs WeasyPrint, which is not installed. {PDF_HOW}") from None
    except OSError:
        raise CroploadError(
            f"A PDF needs the library Pango, which this system lacks. {PDF_HOW}"
        ) from None

    # A logo stands in the page itself; nothing else is fetched.
    inside = weasyprint.urls.URLFetcher(allowed_protocols=("data",))
    return weasyprint.HTML(string=html, url_fetcher=inside).write_pdf()


def report_files(html=None, pdf=None, xlsx=None, csv=None):
    """Return the files of a report as they are asked for: a Result each, still without content.

    Parameters
    ----------
    html, pdf, xlsx, csv : path, optional
        Files to write.

    Returns
    -------
    dict
        {kind: Result}
    """
    from cropload.records.writing.results import frame_result

    files = {
        kind: Result(path, (f".{kind}",))
        for kind, path in (("html", html), ("pdf", pdf), ("xlsx", xlsx))
        if path is not None
    }
    return files if csv is None else files | {"csv": frame_result(csv)}


def save_report(report, *, html=None, pdf=None, xlsx=None, csv=None, frame=None, replace=False):
    """Write a report to files: all of them, or none.

    Parameters
    ----------
    report : OwnerReport
        As from `report`.
    html, pdf, xlsx : path, optional
        Files to write.
    csv : path, optional
        File, .csv or .xlsx, for ``frame``.
    frame : DataFrame, optional
        Every figure of each block.
    replace : bool
        Whether earlier results may be replaced.

    Returns
    -------
    list of (pathlib.Path, pathlib.Path or None)
        Each file, and where the version before it lies now.

    Raises
    ------
    CroploadError
        When a file exists or cannot be written, or a PDF cannot be made; nothing is written then.
    """
    from cropload.records.writing.results import frame_result

    files = report_files(html, pdf, xlsx, csv)
    check_results(files.values(), replace)
    made = {
        "html": lambda: report.html().encode("utf-8"),
        "pdf": report.pdf,
        "xlsx": report.workbook,
    }
    results = [
        frame_result(csv, frame) if kind == "csv" else Result(file.path, file.endings, made[kind]())
        for kind, file in files.items()
    ]
    return write_results(results, replace)


@cache
def _template():
    # Loaded late: only a report needs the template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    made = Environment(
        loader=PackageLoader("cropload", "owner/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # Our own tables and pictures are not escaped again; their texts were, when they were made.
    made.filters["made"] = Markup
    made.globals["say"] = say
    made.filters["coded"] = lambda text: Markup(html.words(text))
    return made.get_template("report.html")
