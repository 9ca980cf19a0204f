"""What every public question returns: a frame, notes and sources, readable wherever it is shown."""

import functools
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any

from cropload.errors import CroploadError, near
from cropload.units import METRIC, UnitSystem, unit_system

#: How an answer is written: ``module:function``, registered from above, where words are known.
RENDERERS = {}
#: Name of an answer's class -> module with ``heading``, ``tables`` and ``plot`` of it, registered
#: from above, for answers of rooms that know no words.
VIEWS = {}


#: Name of a class -> {question: ``module:function``}, registered from above: what can be asked of
#: something a user holds, with itself as what the function is given first.
QUESTIONS = {}


class Asked:
    """What questions can be asked of, as methods: ``records.forecast(2027)`` and the like."""

    def _given(self):
        """Return what a question takes first."""
        return (self,)

    def _questions(self):
        kinds = [kind.__name__ for kind in type(self).__mro__]
        return {name: place for kind in kinds for name, place in QUESTIONS.get(kind, {}).items()}

    def __getattr__(self, name):
        questions = {} if name.startswith("_") else self._questions()
        if name not in questions:
            hint = near(name, questions)
            raise AttributeError(f"{type(self).__name__} has no '{name}'. {hint}".rstrip())
        function = _found(questions[name])
        asked = functools.partial(function, *self._given())
        return functools.update_wrapper(asked, function)

    def __dir__(self):
        return sorted({*super().__dir__(), *self._questions()})


def _found(place):
    module, _, name = place.partition(":")
    return getattr(import_module(module), name)


@dataclass(frozen=True, eq=False, repr=False)
class Answer:
    """The base of an answer.

    A question derives its own answer from it, and fills in :meth:`heading`, :meth:`tables` and
    :meth:`plot`, and ``frame_by(group)`` where it can be grouped.

    Attributes
    ----------
    frame : DataFrame
        The answer in full, in metric units; the question documents its columns.
    notes : tuple of str
        What a reader must know beside the figures, in sentences.
    sources : tuple of str
        Keys of the handbook that the answer leans on.

    Notes
    -----
    ``answer["column"]`` and ``len(answer)`` speak of the frame.
    """

    #: Tables that are printed, the first ones [1]; None for all.
    printed = 1
    frame: Any
    notes: tuple = ()
    sources: tuple = field(default=(), kw_only=True)

    def heading(self, units: UnitSystem | str = METRIC):
        """Return what is answered, in one or two sentences."""
        return self._view("heading", units)

    def tables(self, units: UnitSystem | str = METRIC):
        """Return the tables of the answer, the one that matters most first."""
        return self._view("tables", units)

    def table(self, units: UnitSystem | str = METRIC):
        """Return the table that matters most."""
        return self.tables(unit_system(units))[0]

    def plot(self, ax=None, units: UnitSystem | str = METRIC):
        """Draw the answer on axes, new ones when none are given, and return them."""
        return self._view("plot", ax, unit_system(units))

    def text(self, units: UnitSystem | str = METRIC, width: int = 80) -> str:
        """Return the answer as text: heading, the table that matters most, notes."""
        return _found(RENDERERS["text"])(self, unit_system(units), width)

    def _view(self, name, *given):
        names = [each.__name__ for each in type(self).__mro__]
        place = next((VIEWS[each] for each in names if each in VIEWS), None)
        if place is None:
            raise CroploadError(f"There is no {name} of a {names[0]}; print it, or take its frame.")
        return _found(f"{place}:{name}")(self, *given)

    def __str__(self):
        return self.text()

    def _repr_html_(self):
        return _found(RENDERERS["html"])(self)

    def __repr__(self):
        return f"<{type(self).__name__}: {len(self.frame)} rows; print it to read it>"

    def __getitem__(self, key):
        return self.frame[key]

    def __len__(self):
        return len(self.frame)

    def __contains__(self, column):
        return column in self.frame
