"""The owner's report: one page of HTML that needs nothing else, a PDF and a workbook."""

import datetime
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cropload import arguments, clock
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.owner import charts as report_figures
from cropload.owner import words as report_words
from cropload.owner.scenarios import Scenarios
from cropload.owner.tables import changes_tables, do_table
from cropload.owner.why_tables import why_figure, why_tables, why_text
from cropload.records.writing.gate import Result, check_results, workbook_bytes, write_results
from cropload.show import excel, wording
from cropload.show import table as kinds
from cropload.units import METRIC, UnitSystem, unit_system

#: A sheet of the workbook for each table, and its name.
SHEETS = {
    "do": "what to do",
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
#: Blocks from which on the page leaves to the workbook what is not recommended, and names.
_MANY = 12

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
    """

    found: Scenarios
    units: UnitSystem
    invented: bool
    made_on: datetime.date

    def heading(self, units=None):
        """Return the recommendation in one piece."""
        return self.found.heading(units or self.units)

    def tables(self, units=None):
        """Return all tables there are."""
        return self.found.tables(units or self.units)

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
        return report_words.recommendation(self.found, self.units)

    def settings(self):
        """Return version, season, seed and the like as (name, value)."""
        from cropload import __version__

        return report_words.settings(
            self.found, self.units, __version__, self.made_on, self.invented
        )

    def html(self):
        """Return the report as one HTML page without any outside address."""
        found, units = self.found, self.units
        many = len(found.block_names) > _MANY
        made = [*self.tables(), *changes_tables(found, many), *why_tables(found, units, many)]
        tables = {table.key: table for table in made}
        return _template().render(
            many=many,
            found=found,
            units=units,
            sentences=self.sentences(),
            often=ranges.often(),
            do_first=do_table(found, _FIRST_PAGE),
            tables=tables,
            texts=kinds.TEXTS,
            first_figure=report_figures.first_figure(found, units)[0],
            density_figure=report_figures.band_figure(found, "density", units)[0],
            balance_figure=report_figures.band_figure(found, "balance", units)[0],
            why_text=why_text(found, units),
            why_figure=why_figure(found, units),
            bands=self._bands(),
            risks=report_words.risks(found, units),
            frost_notes=report_words.frost_notes(found),
            settings=self.settings(),
            cautions=wording.CAUTIONS,
            support=wording.SUPPORT,
            gain=wording.FIRST_SEASON_GAIN,
            money_caution=report_words.MONEY_CAUTION,
            frost_caution=report_words.FROST_CAUTION,
            invented=self.invented,
            varieties=dict.fromkeys(found.frame["variety"].tolist()),
            area=wording.amount(
                "area_ha", float(found.frame.drop_duplicates("block")["area_ha"].sum()), units
            ),
        )

    def _bands(self):
        """Return each pair of bands in words, with the blocks it is for."""
        grouped = {}
        for block, (density, balance) in self.found.bands.items():
            pair = (
                wording.band_text(density, self.units, "per_m"),
                wording.band_text(balance),
            )
            grouped.setdefault(pair, []).append(block)
        return [(density, balance, ", ".join(b)) for (density, balance), b in grouped.items()]

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
        tables = [table for table in made if table.key in SHEETS]
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
            *self.settings(),
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
        ]


@arguments.check_arguments(
    records=arguments.records,
    scenarios=arguments.kind("Scenarios", "Make one first: compare_scenarios(records, {...})."),
    made_on=arguments.optional(arguments.day),
)
def report(records, scenarios, units=METRIC, made_on=None):
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
        Day on the report; today when left out.

    Returns
    -------
    OwnerReport
        ``.html()`` is the page, ``.pdf()`` and ``.workbook()`` the bytes of the files.

    Raises
    ------
    CroploadError
        For something else than a comparison, or units that are none.

    Notes
    -----
    Valid as ``compare_scenarios``.
    """
    return OwnerReport(
        frame=scenarios.frame,
        notes=scenarios.notes,
        found=scenarios,
        units=unit_system(units),
        invented=is_invented(records),
        made_on=clock.today() if made_on is None else made_on,
    )


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

    def refuse(address, *_, **__):
        raise ValueError(f"the report asks no address, and this one was asked: {address}")

    return weasyprint.HTML(string=html, url_fetcher=refuse).write_pdf()


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


#: One key of the handbook, or several.
_KEYS = re.compile(r"[a-z_]+(\.[a-z0-9_]+)+(, [a-z_]+(\.[a-z0-9_]+)+)*")


def _breakable(text):
    """Let a key of the handbook break after its dots and underscores; other text stays as it is."""
    from markupsafe import Markup, escape

    safe = str(escape(text))
    return Markup(
        safe.replace(".", ".<wbr>").replace("_", "_<wbr>") if _KEYS.fullmatch(safe) else safe
    )


@cache
def _template():
    # Loaded late: only a report needs the template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    from cropload.show import html

    made = Environment(
        loader=PackageLoader("cropload", "owner/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # Our own pictures are the one thing not escaped; their texts were, when they were drawn.
    made.filters["picture"] = Markup
    made.filters["breakable"] = _breakable
    made.filters["coded"] = lambda text: Markup(html.words(text))
    return made.get_template("report.html")
