"""The command ``import``: workbooks and tables of any shape, brought into a season folder."""

import sys

from cropload.show import options
from cropload.show.command import Command
from cropload.show.options import option

#: Where open questions are written for an answer.
QUESTIONS = "import_questions.toml"

_ARGUMENTS = (
    option("files", "FILE", "workbooks (.xlsx, .xls, .ods) and tables (.csv, .txt)", nargs="+"),
    option("--into", "FOLDER", "the folder to make, or to add what is new to", required=True),
    option("--answers", "FILE", f"answered questions, as in {QUESTIONS}"),
    option("--look", help="show what is understood, and write nothing"),
    option("--all", help="list all that is not read, totals and remarks too"),
)


def _run(given):
    from cropload.pages import import_words
    from cropload.pages.commands.new import quoted
    from cropload.records.importing.importing import import_workbook
    from cropload.show.terminal import paragraph, printable, working

    with working("Looking through your files") as progress:
        found = import_workbook(given.files, given.into, given.answers, progress=progress)
    found = _asked(found, given)
    parts = list(filter(None, _understood(found, given)))
    if given.look:
        asked = [paragraph(question.asks, "- ") for question in found.questions]
        parts += [paragraph("Open, and asked before anything is written:"), *asked] if asked else []
        return [*parts, paragraph("Nothing is written: --look only shows.")]
    if found.questions or found.faults:
        # What was understood is shown before the message that stops it.
        print(printable("\n\n".join(parts)) + "\n", flush=True)
        _stop_at_questions(found)
    folder = found.write()
    told = import_words.written(found, folder)
    if found.new:
        told += f" Next: cropload check {quoted(folder)}"
    return [*parts, paragraph(told)]


def _understood(found, given):
    """Yield the parts of what was understood as text."""
    from cropload.pages import import_words
    from cropload.records.reading.faults import fault_list
    from cropload.show.terminal import paragraph, points

    yield paragraph(import_words.heading(found))
    for table in import_words.understood(found):
        yield table.text()
    left = import_words.left_out(found, given.all)
    if left.rows:
        yield left.text()
    yield "" if given.all else paragraph(import_words.usual(found))
    yield points(found.notes)
    if found.differ:
        yield paragraph("The folder says otherwise, and stays as it is (`cropload correct` mends):")
        yield points(found.differ)
    if found.doubts:
        yield f"Look at these again\n\n{fault_list(found.doubts)}"


def _asked(found, given):
    """Ask at a terminal what is open, one question after the other; else leave it open."""
    from cropload.errors import CroploadError
    from cropload.records.importing.importing import import_workbook
    from cropload.show.terminal import printable

    if not (sys.stdin.isatty() and sys.stdout.isatty()) or given.look:
        return found
    answers = {question.id: answer for question, answer in found.answered}
    while found.questions:
        question = found.questions[0]
        print(printable(question.words()))
        while True:
            try:
                answers[question.id] = question.answer_of(input("Answer [1]: "))
                break
            except EOFError:
                return found
            except CroploadError as fault:
                print(printable(fault))
        found = import_workbook(given.files, given.into, answers)
    return found


def _stop_at_questions(found):
    """Write open questions into a file to be answered, and stop."""
    from cropload.errors import Unanswered
    from cropload.records.importing.questions import questions_toml
    from cropload.records.writing.gate import Result, write_results

    if found.faults or not found.questions:
        return
    head = [
        f"{len(found.questions)} open question{'s' if len(found.questions) > 1 else ''} of "
        f"{', '.join(found.files)}; the likely answers are filled in.",
        "Correct the answers, and run the same command with --answers and this file.",
    ]
    data = questions_toml(found.questions, head, found.answered).encode()
    options.tell_written(write_results([Result(QUESTIONS, (".toml",), data)], replace=True))
    asked = "; ".join(question.asks for question in found.questions)
    number = len(found.questions)
    raise Unanswered(
        f"{number} question{'s are' if number > 1 else ' is'} open, and nothing is written: "
        f"{asked} Answer in {QUESTIONS}, and add --answers {QUESTIONS}."
    )


COMMANDS = (
    Command(
        name="import",
        group="Start",
        summary="bring your own workbook or tables into a season folder",
        details="Finds the tables in workbooks and text tables of any shape, whatever stands "
        "around them, in English, Spanish, French, German or Italian, and shows what it "
        "understood. What the data leave open is asked; without a terminal the questions are "
        f"written to {QUESTIONS}, the code is 3, and no folder is made. Your files are never "
        "changed; next year's file of the same shape goes in without a question, and only what "
        "is new is added.",
        example="""
            cropload import vineyard.xlsx --into my_season
            cropload import crop.csv weights.csv --into my_season --look
        """,
        arguments=_ARGUMENTS,
        run=_run,
    ),
)
