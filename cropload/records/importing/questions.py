"""What only the user can say of a file: each question once, with the likely answer first."""

import json
import tomllib
from dataclasses import dataclass, field

from cropload.errors import CroploadError, near


@dataclass(frozen=True)
class Question:
    """Something that the files leave open.

    Attributes
    ----------
    id : str
        Its name, the same for every file of the same shape.
    asks : str
        The question.
    where : str
        Where it comes up, with examples.
    choices : dict
        Answer -> what it means; the likely one first.
    """

    id: str
    asks: str
    where: str
    choices: dict

    @property
    def likely(self):
        """The likely answer."""
        return next(iter(self.choices))

    def words(self):
        """Return the question with its choices, each on a line."""
        lines = [self.asks, f"  {self.where}"] if self.where else [self.asks]
        for place, (answer, meaning) in enumerate(self.choices.items(), start=1):
            told = f"{answer}: {meaning}" if meaning else answer
            lines.append(f"  {place}. {told}{' (likely)' if place == 1 else ''}")
        return "\n".join(lines)

    def answer_of(self, text):
        """Return the choice that an answer means: its number, its text, or blank for the first.

        Raises
        ------
        CroploadError
            When it is none of the choices.
        """
        text = str(text).strip()
        if not text:
            return self.likely
        if text in self.choices:
            return text
        if text.isdecimal() and 1 <= int(text) <= len(self.choices):
            return list(self.choices)[int(text) - 1]
        for answer, meaning in self.choices.items():
            if text.casefold() in (answer.casefold(), f"{answer}: {meaning}".casefold()):
                return answer
        hint = near(text, self.choices) or f"Choose one of: {', '.join(self.choices)}."
        raise CroploadError(f"'{text}' is no answer to '{self.id}'. {hint}")


@dataclass
class Questions:
    """The answers given, and the questions that came up.

    Attributes
    ----------
    given : dict
        Name of a question -> answer.
    asked : dict
        Name -> :class:`Question`, of all that came up.
    """

    given: dict = field(default_factory=dict)
    asked: dict = field(default_factory=dict)

    def ask(self, name, asks, where, choices):
        """Return the answer to a question, or the likely one while it is open."""
        question = self.asked.setdefault(name, Question(name, asks, where, choices))
        given = name in self.given
        answer = question.answer_of(self.given[name]) if given else question.likely
        # What holds in one place may be impossible in another, which is asked by itself.
        return answer if answer in choices else self.ask(f"{name}, {where}", asks, where, choices)

    @property
    def open(self):
        """The questions without an answer."""
        return [question for name, question in self.asked.items() if name not in self.given]

    @property
    def answered(self):
        """The answers that were used, by name."""
        return {
            name: question.answer_of(self.given[name])
            for name, question in self.asked.items()
            if name in self.given
        }


def questions_toml(questions, head, answered=()):
    """Return questions as a file to be answered, the likely answers filled in.

    Parameters
    ----------
    questions : iterable of Question
        What is open.
    head : list of str
        Lines of remark at its top.
    answered : iterable of (Question, str)
        What is answered already.
    """
    kept = [*answered, *((question, question.likely) for question in questions)]
    return answers_toml(kept, head)


def _parts(question):
    yield "id", question.id
    yield "asks", question.asks
    yield "where", question.where
    told = [f"{a}: {meaning}" if meaning else a for a, meaning in question.choices.items()]
    yield "choices", told


def _text(value):
    if isinstance(value, list):
        return "[" + ", ".join(map(_text, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def answers_toml(kept, head):
    """Return the text of a file of answers.

    Parameters
    ----------
    kept : list of (Question, str)
        Questions and what was answered.
    head : list of str
        Lines of remark at its top.
    """
    lines = [f"# {line}" for line in head]
    for question, answer in kept:
        lines += ["", "[[question]]"]
        lines += [f"{key} = {_text(value)}" for key, value in _parts(question)]
        lines.append(f"answer = {_text(answer)}")
    return "\n".join(lines) + "\n"


def read_answers(name, data):
    """Return name of a question -> answer, from a file of answers.

    Raises
    ------
    RecordsError
        When the file is no such file.
    """
    from cropload.records.reading.files import stop

    mend = "Each question is a block [[question]] with id = and answer =, as it was written."
    try:
        found = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        stop(name, f"is no file of answers ({error})", mend)
    answers = {}
    questions = found.get("question", [])
    for place, each in enumerate(questions if isinstance(questions, list) else [None], start=1):
        if not isinstance(each, dict) or not {"id", "answer"} <= set(each):
            stop(name, f"question {place} has no id or no answer", mend)
        answers[str(each["id"])] = str(each["answer"])
    if not answers:
        stop(name, "holds no answers", mend)
    return answers
