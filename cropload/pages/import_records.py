"""The page of an import: choose workbooks, answer what they leave open, write a season folder."""

from itertools import count
from pathlib import Path

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.records.writing.gate import private_folder
from cropload.show.address import page_link
from cropload.show.desk import Fold, folds
from cropload.show.page import Page
from cropload.show.page_part import SlowPart
from cropload.show.panels import parts
from cropload.show.panels.fields import button, field

#: Endings of what can be chosen.
_ENDINGS = ".xlsx,.xlsm,.xls,.ods,.csv,.txt,.tsv"
#: A question stands above its choices, and breaks where the screen is narrow; the line of a fold
#: says what its table is.
STYLE = """<style>
.cl-page .cl-asked { flex-direction: column; width: auto; max-width: 62em; height: auto; }
.cl-page .cl-asked > .widget-label { width: auto; height: auto; white-space: normal;
  text-align: left; font-weight: bold; line-height: 1.35 !important; }
.cl-page .cl-asked .widget-radio-box label { height: auto; white-space: normal;
  line-height: 1.35; margin: 2px 0; }
.cl-page .cl-read caption { display: none; }
.cl-page .cl-read pre { white-space: pre-wrap; }
.cl-page .cl-read .widget-button { white-space: normal; height: auto; padding: 4px;
  line-height: 1.35; }
</style>"""


class ImportRecords(Page):
    """Bring workbooks and tables of any shape into a season folder.

    Parameters
    ----------
    given : Records, str or path, optional
        As for ``PruningLevels``; what is chosen goes into the user's own folder of CSV files, or
        else into a new one beside it, until another is named.

    Notes
    -----
    Faults are shown as messages; nothing is raised after the page is made.  It needs no records,
    so that it opens beside a folder that cannot be read yet.  Valid as ``import_workbook``.
    """

    question = "Bring your own workbook"
    choices = ()
    needs_records = False

    def build(self):
        """Return the one part of the page."""
        self.bring = Bring(self)
        self.bring.add_class("cl-answer-first")
        return [parts.html(STYLE), self.bring]


def first_folder(desk):
    """Return the folder of the user's own records, or a name beside it that is still free."""
    records = desk.records
    if records is None:
        beside = Path(desk.given).resolve().parent
    elif desk.is_sample:
        beside = Path.cwd()
    else:
        own = Path(records.path).resolve()
        if own.is_dir() and not desk.invented:
            return own
        beside = own.parent
    names = (f"my_season_{number}" if number > 1 else "my_season" for number in count(1))
    return next(beside / name for name in names if not (beside / name).exists())


class Bring(SlowPart):
    """Files chosen, what they hold, what is open, and the button that writes the folder.

    Attributes
    ----------
    files : dict
        Name of a file -> its bytes, as chosen last.
    boxes : dict
        Name of a question -> the box of its choices.
    """

    needs, needs_records = (), False

    def build(self):
        """Make the controls; what they depend on is shown when files are chosen."""
        self.files, self.boxes, self._filling = {}, {}, False
        self.upload = widgets.FileUpload(
            accept=_ENDINGS, multiple=True, description="choose workbooks or tables",
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.upload.observe(lambda _: self._uploaded(), "value")
        self.into = field("Into folder", width="36em", value=_shown(first_folder(self.desk)))
        self.into.observe(lambda _: self._again(), "value")
        self.words, self.wrong, self.said, self.next = (parts.html() for _ in range(4))
        self.asked, self.unfolded = widgets.VBox([]), folds()
        self.unfolded.add_class("cl-read")
        self.told = (self.words, self.wrong, self.next)
        self.write_button = button("write", self.write, "auto")
        self.body.children = (
            parts.row(self.upload, self.into),
            self.words,
            self.asked,
            self.wrong,
            parts.row(self.write_button),
            self.said,
            self.next,
            self.unfolded,
        )

    def _uploaded(self):
        if self.upload.value:
            chosen = {each["name"]: bytes(each["content"]) for each in self.upload.value}
            self.read(chosen)

    def read(self, files):
        """Say what files hold.

        Parameters
        ----------
        files : dict
            Name -> bytes.  Files of the same names keep what was answered for them.
        """
        files = {Path(name.replace("\\", "/")).name: data for name, data in files.items()}
        if set(files) != set(self.files):
            self.boxes = {}
        self.files = files
        self._again()

    def _again(self):
        if not self._filling:
            self.said.value = ""
            self.follow()

    def folder(self):
        """Return the folder that is named.

        Raises
        ------
        CroploadError
            When none is.
        """
        text = self.into.value.strip()
        if not text:
            raise CroploadError("Name the folder that is made, or that new rows are added to.")
        return Path(text).expanduser()

    def understood(self):
        """Return what the chosen files hold, as answered so far."""
        from cropload.records.importing.importing import import_workbook

        answers = {name: box.value for name, box in self.boxes.items() if box.value is not None}
        with private_folder(self.files) as place:
            return import_workbook([place / name for name in self.files], self.folder(), answers)

    def clear(self):
        """Take away what no longer belongs; questions stay, so that an answer can be changed."""
        super().clear()
        self.unfolded.children, self.write_button.disabled = (), True

    def show(self):
        """Say what the files hold, ask what is open, and list the columns that are read."""
        from cropload.pages import import_words

        self.write_button.layout.display = None if self.files else "none"
        if not self.files:
            self.words.value = parts.note(import_words.WANTED)
            return
        self.write_button.description = f"write {self.folder().name}"
        found = self.understood()
        self._ask(found)
        told = parts.escape(import_words.heading(found))
        self.words.value = f'<p class="cl-matters" role="status">{told}</p>'
        self.wrong.value = self._in_the_way(found)
        self.write_button.disabled = bool(found.questions or found.faults or not found.new)
        self.next.value = "" if found.new or found.questions or found.faults else self._next()
        self._unfold(found)

    def _in_the_way(self, found):
        """Return what has to be done before anything is written."""
        from cropload.records.reading.faults import RecordsError

        told, number = "", len(found.questions)
        if number:
            many = "1 question is open: answer it" if number == 1 else f"Answer {number} questions"
            told = parts.note(f"{many} to write the folder.")
        if found.faults:
            opening = "The files cannot be brought in as they are"
            told += parts.error(str(RecordsError(found.faults, opening)))
        return told

    def _ask(self, found):
        """Show each question once, in the order in which they came up, answered ones too."""
        given = {question.id: answer for question, answer in found.answered}
        asked = [*(question for question, _ in found.answered), *found.questions]
        boxes = {question.id: _box(question) for question in asked}
        # A box that is there already stays, and with it the keyboard's place.
        old = {
            name: box
            for name, box in self.boxes.items()
            if name in boxes and box.options == boxes[name].options
        }
        self.boxes, self._filling = old | {n: b for n, b in boxes.items() if n not in old}, True
        try:
            for name, box in self.boxes.items():
                box.value = given.get(name)
                if name not in old:
                    box.observe(lambda _: self._again(), "value")
        finally:
            self._filling = False
        self.asked.children = tuple(self.boxes.values())

    def _unfold(self, found):
        """Lay what was understood into folds; those that were open stay so."""
        from cropload.pages import import_words
        from cropload.records.reading.faults import fault_list, how_many

        made = {}
        if found.differ:
            told = parts.points([*found.differ, "The folder stays as it is; `correct` mends it."])
            made["what says otherwise than the folder, and is not written"] = told
        if found.doubts:
            told = f"<pre>{parts.escape(fault_list(found.doubts))}</pre>"
            made[f"to look at again: {how_many(found.doubts)}"] = told
        if found.notes:
            made[f"how some of it is read: {len(found.notes)}"] = parts.points(found.notes)
        made |= {each.caption: each.html() for each in import_words.understood(found)}
        left = import_words.left_out(found)
        if left:
            made[f"not read, and why: {len(left.rows)}"] = left.html()
        was_open = {fold.words for fold in self.unfolded.children if fold.is_open}
        self.unfolded.children = tuple(
            Fold(words, lambda html=html: [parts.html(html)]) for words, html in made.items()
        )
        for fold in self.unfolded.children:
            if fold.words in was_open:
                fold.turn()

    def write(self):
        """Write the folder, or add what is new to it; then show the files as they stand to it."""
        parts.tell(self.said, self._written)
        self.desk.read_again()
        self.follow()

    def _written(self):
        from cropload.pages.import_words import written

        # Understood anew: the folder may have changed since.
        found = self.understood()
        return written(found, found.write())

    def _next(self):
        from cropload.pages.commands.new import quoted

        folder, records = self.folder().resolve(), self.desk.records
        if records is not None and Path(records.path).resolve() == folder:
            return f'<p class="cl-note">{page_link("home", "The vineyard today")}</p>'
        return parts.note(f"Next: `cropload open {quoted(folder)}`")


def _box(question):
    """Return the choices of a question as a native box, nothing chosen."""
    from cropload.pages.import_words import choices

    made = widgets.RadioButtons(
        options=choices(question),
        value=None,
        description=f"{question.asks} ({question.where})" if question.where else question.asks,
        style=parts.LABELLED,
    )
    made.add_class("cl-asked")
    return made


def _shown(folder):
    """Return a folder as it is typed, the user's own home as ~."""
    try:
        return str(Path("~") / folder.relative_to(Path.home().resolve()))
    except (ValueError, RuntimeError):
        return str(folder)
