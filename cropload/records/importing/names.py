"""One name for each block and variety, however often it is spelt otherwise."""

from dataclasses import dataclass, field

from cropload import handbook
from cropload.errors import nearest
from cropload.records.importing.values import same_name, tidy_name
from cropload.records.reading.trade_words import plain, variety_of

_OWN, _OUT = "a block of its own", "leave out"


@dataclass
class BlockNames:
    """The blocks that are known, and how other spellings are read.

    Attributes
    ----------
    known : dict
        Form in which spellings agree -> name.
    read_as : dict
        Other spelling -> name, for what is told; None where its rows are left out.
    defined : bool
        Whether a list of blocks is known; else any name is one.
    """

    known: dict = field(default_factory=dict)
    read_as: dict = field(default_factory=dict)
    defined: bool = False

    def add(self, name):
        """Note a block of the table of blocks; return its name."""
        return self.known.setdefault(same_name(name), name)

    def holds(self, value):
        """Whether a cell names a known block, however it is spelt."""
        return same_name(tidy_name(value)) in self.known

    def read(self, value, where, questions):
        """Return the block that a cell means, or None where its rows are to be left out.

        Parameters
        ----------
        value : object
            The cell.
        where : str
            Where it stands, for the question.
        questions : Questions
            Asks what a short form means where it fits several blocks, or none.
        """
        written = tidy_name(value)
        form = same_name(written)
        if form in self.known:
            name = self.known[form]
            if name != written:
                self.read_as[written] = name
            return name
        if written in self.read_as:
            return self.read_as[written]
        if not self.defined:
            return self.add(written)
        found = likely_blocks(form, self.known)
        if len(found) == 1 and found[0][1]:
            self.read_as[written] = found[0][0]
            return found[0][0]
        names = [name for name, _ in found]
        choices = dict.fromkeys(names, "")
        choices |= {_OWN: "not in the table of blocks", _OUT: "its rows are not read"}
        if not names:
            choices = {_OUT: "its rows are not read", **dict.fromkeys(self.known.values(), "")}
            choices |= {_OWN: "not in the table of blocks"}
        answer = questions.ask(f"block {written}", f"Which block is '{written}'?", where, choices)
        name = {_OWN: written, _OUT: None}.get(answer, answer)
        self.read_as[written] = name
        return name


def likely_blocks(form, known):
    """Return blocks that a short or misspelt name may mean: (name, whether it surely does).

    Parameters
    ----------
    form : str
        The name in the form in which spellings agree.
    known : dict
        Such form -> name of the block.

    Examples
    --------
    >>> likely_blocks("long a", {"long acre": "Long Acre", "mill": "Mill"})
    [('Long Acre', True)]
    >>> likely_blocks("hill", {"hill top": "Hill Top", "hill foot": "Hill Foot"})
    [('Hill Top', False), ('Hill Foot', False)]
    """
    words = form.split()
    bare = _bare(form)
    alike = [name for other, name in known.items() if _bare(other) == bare]
    if len(alike) == 1:
        return [(alike[0], True)]
    short = [name for other, name in known.items() if _shortens(words, other.split())]
    joined = form.replace(" ", "")
    same = [name for other, name in known.items() if other.replace(" ", "") == joined]
    if len(same) == 1:
        return [(same[0], True)]
    if short:
        return [(name, len(short) == 1) for name in short]
    initials = [
        name
        for other, name in known.items()
        if len(joined) > 1 and "".join(word[0] for word in other.split()) == joined
    ]
    if initials:
        return [(name, len(initials) == 1) for name in initials]
    if any(sign.isdigit() for sign in form):
        # Of codes that differ in a digit none is likely.
        return []
    near = nearest(form, list(known), alike=0.75)
    close = [known[hit] for hit in near[:3]]
    sure = len(close) == 1 and _one_slip(form, near[0])
    return [(name, sure) for name in close]


_GENERAL = {"block", "blk", "parcel", "plot", "parcela", "parcelle", "parzelle", "nr", "no"}


def _bare(form):
    """Return a name without general words, and numbers without zeros in front."""
    words = [word for word in form.split() if word not in _GENERAL] or form.split()
    if len(words) == 2 and words[1] == "0" and words[0].isdigit():
        words = words[:1]
    return "".join(word.lstrip("0") or "0" if word.isdigit() else word for word in words)


def _shortens(words, long):
    """Whether words are the beginnings of the words of a name, in their order."""
    if not words or len(words) > len(long) or any(word.isdigit() for word in words):
        return words == long[: len(words)] and len(words) < len(long) and bool(words)
    place = 0
    for word in words:
        while place < len(long) and not long[place].startswith(word):
            place += 1
        if place == len(long):
            return False
        place += 1
    return True


def _one_slip(one, other):
    """Whether two names differ by one sign left out, put in or changed, and no digit."""
    if any(sign.isdigit() for sign in one + other) or min(len(one), len(other)) < 6:
        return False
    if abs(len(one) - len(other)) > 1:
        return False
    start = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), 0)
    return (
        one[start + 1 :] in (other[start + 1 :], other[start:]) or one[start:] == other[start + 1 :]
    )


def variety_named(value, written_in_full, where, questions):
    """Return the name of a variety, short forms written out.

    Parameters
    ----------
    value : object
        The cell.
    written_in_full : iterable of str
        Varieties that the files write in full.
    where : str
        Where it stands, for the question.
    questions : Questions
        Asks what a short form means that is not known.
    """
    name = tidy_name(value)
    if handbook.variety(name):
        return name
    full = {plain(each): each for each in written_in_full if each != name and not variety_of(each)}
    known = variety_of(name)
    if known:
        return full.get(plain(known), known)
    if plain(name) in full:
        return full[plain(name)]
    bare = name.rstrip(".")
    if len(plain(bare)) <= 3 or name.endswith("."):
        names = sorted({*full.values(), *handbook.variety_names()})
        fits = [each for each in names if _shortens(plain(bare).split(), plain(each).split())]
        if len(fits) == 1:
            return fits[0]
        choices = dict.fromkeys(fits, "") | {name: "as it is written"}
        return questions.ask(f"variety {name}", f"Which variety is '{name}'?", where, choices)
    return name
