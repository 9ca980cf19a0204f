"""The home page: where the season stands, what is due, every block, and the six questions."""

from urllib.parse import quote

from cropload import clock
from cropload.beliefs.forecast import forecast
from cropload.beliefs.ranges import level
from cropload.errors import CroploadError
from cropload.pages.home_answer import home_table, standing
from cropload.pages.home_questions import SLOW, not_known, question_lines
from cropload.season.due import due
from cropload.show import wording
from cropload.show.address import page_link
from cropload.show.desk import Fold, Said, folds
from cropload.show.page import Page
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.later import Later
from cropload.vine.bands import OUTSIDE

STYLE = """<style>
.cl-home { border-collapse: collapse; width: 100%; margin: 6px 0; }
.cl-home th, .cl-home td { padding: 4px 8px; text-align: right; border-top: 1px solid #ccc;
  white-space: nowrap; }
.cl-home thead th { border-top: none; }
.cl-home .cl-left { text-align: left; }
.cl-home .cl-off { color: #a33b00; font-weight: bold; }
.cl-home tfoot th, .cl-home tfoot td { border-top: 2px solid #444; font-weight: bold; }
.cl-questions { display: grid; grid-template-columns: repeat(auto-fill, minmax(300px, 1fr));
  gap: 2px 18px; margin: 8px 0; padding: 0; list-style: none; }
.cl-questions li { margin: 3px 0; }
.cl-lv-ends { white-space: nowrap; }
@media (max-width: 899px) {
  .cl-home .cl-wide-only { display: none; }
  .cl-home th, .cl-home td { padding: 4px 4px; white-space: normal; }
}
</style>"""


class Home(Page):
    """Where the season stands, what is due, and every block in one table.

    Parameters
    ----------
    given, season, units, draws, seed
        As for ``PruningLevels``.

    Notes
    -----
    Faults are shown as a message; nothing is raised after the page is made.
    """

    question = "The vineyard today"
    choices = ("season", "units")

    def build(self):
        """Return where the season stands, the blocks, and the questions."""
        needs = ("season", "units")
        self.standing = Said(self.desk, self._standing, needs)
        self.blocks = Said(self.desk, self._blocks, needs)
        self.questions = Questions(self)
        return [
            self.standing,
            self.blocks,
            self.questions,
            folds(
                Fold("a page for the phone at the vine", self._phone),
                Fold("what is doubtful in the records", self._doubts),
            ),
            parts.html(
                f'<p class="cl-links">{page_link("import_records", "Bring your own workbook")} '
                f"{page_link('methods', 'How the figures are made')}</p>"
            ),
        ]

    def forecast(self):
        """Return the forecast of the season with everything on record."""
        desk = self.desk

        def make():
            return forecast(desk.records, desk.season, draws=desk.draws, seed=desk.seed)

        return desk.once("forecast", ("season",), make)

    def table(self):
        """Return the blocks as ``home_table`` does."""
        desk = self.desk

        def make():
            return home_table(desk.records, self.forecast(), draws=desk.draws, seed=desk.seed)

        return desk.once("table", ("season",), make)

    def _opened(self, query):
        super()._opened(query)
        # A page that nobody looks at yet must not be busy when a browser asks for it.
        if self._made:
            self.questions.go_on()

    def _standing(self):
        desk = self.desk

        def make():
            return due(desk.records, clock.today(), made=self.forecast())

        found = desk.once("due", ("season",), make)
        told = f"{standing(found)} {found.heading(desk.units)}"
        return f'<p class="cl-matters" role="status">{parts.escape(told)}</p>'

    def _blocks(self):
        units, table = self.desk.units, self.table()
        often = f"{10 * level():g} in 10"
        heads = (
            ("block", "cl-left"),
            ("variety", "cl-left cl-wide-only"),
            ("carries", "cl-left"),
            (f"buds {units.label('per_m')}", "cl-wide-only"),
            (f"shoots {units.label('per_m')}", "cl-wide-only"),
            (f"crop {self.desk.season}, {units.label('tonnes')} ({often})", ""),
            ("yield to prunings", "cl-wide-only"),
            ("to look at", "cl-left"),
        )
        top = "".join(
            f'<th scope="col" class="{kind}">{parts.escape(text)}</th>' for text, kind in heads
        )
        body = "".join(self._row(row) for row in table.to_dict("records"))
        total = self.forecast().frame_by("estate").iloc[0]
        whole = wording.range_of(total, "tonnes", "tonnes", units)
        foot = (
            '<tr><th scope="row" class="cl-left">all</th><td class="cl-wide-only"></td><td></td>'
            f'<td class="cl-wide-only"></td><td class="cl-wide-only"></td>'
            f"<td>{_kept_together(whole)}</td>"
            '<td class="cl-wide-only"></td><td></td></tr>'
        )
        return (
            f'{STYLE}<table class="cl-home" aria-label="Every block"><thead><tr>{top}</tr></thead>'
            f"<tbody>{body}</tbody><tfoot>{foot}</tfoot></table>"
        )

    def _row(self, row):
        units = self.desk.units

        def judged(name, word, quantity=None):
            value = row[name]
            shown = wording.number(units.convert(quantity, value) if quantity else value)
            off = "cl-off" if word in OUTSIDE else ""
            return f'{shown} <span class="{off}">{word}</span>'

        link = f"pruning_levels.ipynb?block={quote(row['block'])}"
        buds = wording.number(units.convert("per_m", row["buds_per_m"]))
        return (
            f'<tr><th scope="row" class="cl-left"><a href="{parts.escape(link)}">'
            f"{parts.escape(row['block'])}</a></th>"
            f'<td class="cl-left cl-wide-only">{parts.escape(row["variety"])}</td>'
            f'<td class="cl-left">{row["plan"]}</td><td class="cl-wide-only">{buds}</td>'
            f'<td class="cl-wide-only">'
            f"{judged('shoots_per_m_p50', row['density_word'], 'per_m')}</td>"
            f"<td>{_kept_together(wording.range_of(row, 'tonnes', 'tonnes', units))}</td>"
            f'<td class="cl-wide-only">{judged("ravaz_p50", row["balance_word"])}</td>'
            f'<td class="cl-left">{parts.escape(row["look"])}</td></tr>'
        )

    def _phone(self):
        from cropload.pages.pocket import pocket_page
        from cropload.show.hand_out import HandOut
        from cropload.show.languages import LANGUAGES
        from cropload.show.panels.fields import choice

        desk, said = self.desk, parts.html()
        language = choice("Language", [(name, code) for code, name in LANGUAGES.items()])

        def make():
            page = pocket_page(
                desk.records,
                desk.season,
                language=language.value,
                units=desk.units,
                draws=desk.draws,
                seed=desk.seed,
            )
            return f"pocket_{desk.season}.html", page.encode("utf-8")

        def tell(fault):
            said.value = parts.error(fault) if fault else ""

        self.pocket = HandOut("save the page", make, tell)
        note = parts.note(
            "Plan, count and crew of every block in one file that needs no network. Send it to "
            "the phone, and open it there in the browser."
        )
        return [parts.html(note), parts.row(language, self.pocket), said]

    def _doubts(self):
        from cropload.pages.home_doubts import Doubtful

        return [Doubtful(self.desk)]


class Questions(PagePart):
    """The six questions, each with a line of its answer; what takes a moment comes one by one."""

    needs = ("season", "units")

    def __init__(self, page):
        self._seen, self._later = False, Later()
        super().__init__(page)

    def build(self):
        """Make the list."""
        self.text = parts.html()
        self.body.children = (self.text,)

    def show(self):
        """Say what is known, and have the rest worked out once the page is seen."""
        page, desk = self.page, self.desk
        self.found = desk.once("lines", ("season",), dict)
        table = page.table()
        lines = question_lines(desk.records, page.forecast(), table, desk.units, self.found)
        items = "".join(
            f'<li><a href="{name}.ipynb">{parts.escape(question)}</a><br>{parts.escape(told)}</li>'
            for name, question, told in lines
        )
        self.text.value = f'<ul class="cl-questions">{items}</ul>'
        if self._seen and len(self.found) < len(SLOW):
            self._later.call("next", self._next)

    def go_on(self):
        """Work out what is missing, line by line."""
        self._seen = True
        self.follow()

    def _next(self):
        desk, found = self.desk, self.found
        name = next(name for name in SLOW if name not in found)
        try:
            found[name] = SLOW[name](desk.records, self.page.forecast(), desk.draws, desk.seed)
        except CroploadError as fault:
            told = not_known(fault)
            found[name] = lambda units: told
        self.follow()


def _kept_together(text):
    """Return a range as HTML that breaks between its middle and its ends alone."""
    middle, space, ends = text.partition(" ")
    return f'{middle}{space}<span class="cl-lv-ends">{ends}</span>' if space else middle
