"""What a column and a table of the records are: the shape of the data in ``tables.py``."""

from dataclasses import dataclass, field

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.units import metric_suffix, us_name


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        Canonical name with its metric suffix.
    kind : str
        ``name``, ``label``, ``text``, ``plan``, ``choice``, ``season``, ``whole``, ``number`` or
        ``date``.
    explanation : str
        What stands in the column.
    unit : str
        Metric unit, or ``""``.
    required : bool
        Whether the column must be there, and filled in every row.
    above, low, high, below : float or None
        Limits of a number; ``above`` and ``below`` leave the limit itself out.
    choices : tuple of str
        The words allowed in a ``choice``; capitals, spaces and hyphens do not matter.
    meant : dict
        Other words of the trade -> the choice that they may mean; only ever suggested.
    default : float or None
        What a blank number becomes.
    difference : bool
        A difference between temperatures, which has no zero point.
    follows : str or None
        Another column whose unit this one shares.
    ranged : bool
        A cell may hold a range; the column then holds its middle, and another one how wide it is.
    """

    name: str
    kind: str
    explanation: str
    unit: str = ""
    required: bool = False
    above: float | None = None
    low: float | None = None
    high: float | None = None
    below: float | None = None
    choices: tuple = ()
    meant: dict = field(default_factory=dict, hash=False)
    default: float | None = None
    difference: bool = False
    follows: str | None = None
    ranged: bool = False

    @property
    def us_name(self):
        """The US twin of the name, or ``None``."""
        return us_name(self.name) if self.unit and self.name != "missing_pct" else None

    @property
    def suffix(self):
        """The metric suffix, or ``None`` when there is no US twin."""
        return metric_suffix(self.name) if self.us_name else None

    @property
    def aliases(self):
        """The names a header may use: the metric one, and its US twin."""
        return (self.name, self.us_name) if self.us_name else (self.name,)

    @property
    def width(self):
        """The name of the column of widths of its ranges, the log of high over low end [1]."""
        return f"{self.name}_range"

    @property
    def numeric(self):
        """Whether the values are numbers."""
        return self.kind in ("season", "whole", "number")

    @property
    def rule(self):
        """What a value must be, in words."""
        words = {
            "season": f"must be a year from {FIRST_YEAR} to {LAST_YEAR}",
            "whole": "must be a whole number",
            "number": "must be a number",
            "date": "must be a date written YYYY-MM-DD",
            "plan": "must be canes x buds, then spurs x buds, like 3x8+3x2",
            "choice": "must be one of " + ", ".join(self.choices),
        }.get(self.kind, "is text")
        if self.ranged:
            words += " or a range like 900-1300,"
        limits = []
        if self.above is not None:
            limits.append(f"above {self.above:g}")
        if self.low is not None and self.kind != "season":
            limits.append(f"not below {self.low:g}")
        if self.high is not None and self.kind != "season":
            limits.append(f"not above {self.high:g}")
        if self.below is not None:
            limits.append(f"below {self.below:g}")
        return words + (" " + " and ".join(limits) if limits else "")


@dataclass(frozen=True)
class Table:
    """One table: what a row is, its columns, and which columns together name a row.

    Attributes
    ----------
    name, row : str
        Name of the table, and what one row stands for.
    columns : tuple of Column
        The columns in the order of the template.
    key : tuple of str
        Columns that together may not repeat; empty when rows may repeat.
    named_by : tuple of str
        Columns that name a row where rows may repeat.
    one_of : tuple of str
        Columns of which each row fills exactly one.
    completes : bool
        Rows of one key may fill different columns; they are read as one row, or as one for each
        word where, without a later row that holds, their words differ.
    later : str
        The date of the key, if any: of rows that agree in the rest of the key the later holds.
    made : bool
        Made when something is first kept in it, so that no template needs it.
    ordered : tuple of ((str, str), str, str)
        Two columns of which the first may not be above the second, the rule and the mend.
    sifted : bool
        Days that cannot be are left out and told, and do not stop the read.
    terms : bool
        What is agreed on: a column of numbers that is not known stops the read.
    """

    name: str
    row: str
    columns: tuple
    key: tuple = ()
    named_by: tuple = ()
    one_of: tuple = ()
    completes: bool = False
    ordered: tuple = ()
    later: str = ""
    made: bool = False
    sifted: bool = False
    terms: bool = False

    def __getitem__(self, name):
        return next(column for column in self.columns if column.name == name)

    @property
    def row_names(self):
        """The columns that name a row, in their order."""
        return [name for name in self.names if name in (self.key or self.named_by)]

    @property
    def one_row(self):
        """The columns of the key that name what a row tells of, whenever it was written."""
        return [name for name in self.key if name != self.later]

    @property
    def names(self):
        """Canonical column names, in order."""
        return [column.name for column in self.columns]
