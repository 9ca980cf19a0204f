"""Bands to hold a figure against: named, from the handbook or the user's own."""

from dataclasses import dataclass

from cropload import arguments, handbook
from cropload.errors import CroploadError
from cropload.units import METRIC
from cropload.vine.training import HEAD, HEDGE

BELOW, INSIDE, ABOVE = "below", "inside", "above"
#: Stands for them where nobody has said what a figure should be.
UNKNOWN = "no band known"
#: Verdicts that speak against a figure.
OUTSIDE = (BELOW, ABOVE)
#: What a verdict judges in place of a season: the crop once the vines have settled on a plan.
SETTLED = "settled"


@dataclass(frozen=True)
class Verdict:
    """Where a figure lies against a band, and the season it is the figure of.

    Attributes
    ----------
    word : str
        ``"below"``, ``"inside"``, ``"above"`` or ``"no band known"``.
    season : int or str
        Year of harvest, or ``"settled"`` (third season on a plan and later).

    Raises
    ------
    CroploadError
        For any other word, or what is no season.

    Examples
    --------
    >>> str(Verdict("above", 2027)), str(Verdict("inside", "settled"))
    ('above in 2027', 'inside once settled')
    >>> str(Verdict("no band known", 2027))
    'no band known'
    """

    word: str
    season: int | str

    def __post_init__(self):
        arguments.one_of(BELOW, INSIDE, ABOVE, UNKNOWN)("word", self.word)
        if self.season != SETTLED:
            object.__setattr__(self, "season", arguments.season("season", self.season))

    def __str__(self):
        if self.word == UNKNOWN:
            return self.word
        return f"{self.word} {'once settled' if self.season == SETTLED else f'in {self.season}'}"


@dataclass(frozen=True)
class Band:
    """A range that a figure should lie in, with the name to show beside it.

    ``key`` is the handbook key, or an empty string for the user's own band.
    ``low`` and ``high`` are NaN where no band is known: see ``NO_DENSITY``.
    """

    low: float
    high: float
    name: str
    key: str = ""

    @property
    def known(self):
        """Whether there is anything to hold a figure against."""
        return self.low == self.low

    def judge(self, value, season):
        """Return where a season's figure lies; the ends of the band are inside it.

        Parameters
        ----------
        value : float
            The figure [unit of the band].
        season : int or str
            Year of the harvest it is the figure of, or ``"settled"``.

        Returns
        -------
        Verdict

        Raises
        ------
        CroploadError
            For a figure that is no number, or what is no season.
        """
        value = arguments.plain_number(value)
        if value != value:
            raise CroploadError("There is no figure to hold against the band: it is missing.")
        return Verdict(self.word(value), season)

    def word(self, value):
        """Return below, inside, above or no band known for a value [unit of the band]."""
        if not self.known:
            return UNKNOWN
        if value < self.low:
            return BELOW
        return ABOVE if value > self.high else INSIDE

    def text(self, units=METRIC, quantity=None):
        """Return the band in one phrase, such as ``12 to 15 (undivided canopy)``.

        Parameters
        ----------
        units : UnitSystem
            Units of the ends.
        quantity : str, optional
            Quantity of the band; none for a bare ratio.
        """
        low, high = self.low, self.high
        if not self.known:
            return self.name
        if quantity and units.name != METRIC.name:
            if units.label(quantity) in self.name:
                return self.name  # it was given in these units, and is not rounded twice
            low, high = units.convert(quantity, low), units.convert(quantity, high)
            return f"{low:.3g} to {high:.3g} ({self.name})"
        return f"{low:g} to {high:g} ({self.name})"


#: What a minimal hedge's shoots per metre are held against: no source gives a band, and those of
#: other trainings are of vines with far fewer shoots.
NO_DENSITY = Band(float("nan"), float("nan"), f"{UNKNOWN} for a {HEDGE}")


def resolve(given, default_key, quantity):
    """Return a Band from what the user gave.

    Parameters
    ----------
    given : None, str, tuple or Band
        Nothing (the default), a handbook key such as ``band.ravaz.single``, or (low, high).
    default_key : str
        Handbook key used when nothing is given.
    quantity : str
        What the band is for, for the message.

    Raises
    ------
    CroploadError
        When the band is not two numbers, low below high.
    """
    if isinstance(given, Band):
        return given
    if given is None or isinstance(given, str):
        entry = handbook.entry(default_key if given is None else given)
        if entry.low is None or entry.high is None:
            raise CroploadError(f"The handbook entry '{entry.key}' is not a band.")
        return Band(entry.low, entry.high, entry.extra.get("label", entry.key), entry.key)
    try:
        low, high = (arguments.plain_number(end) for end in given)
    except (TypeError, ValueError):
        raise CroploadError(
            f"The band for {quantity} must be two numbers, low and high, not "
            f"{arguments.shown(given)}."
        ) from None
    if not 0 <= low < high < float("inf"):
        raise CroploadError(
            f"The band for {quantity} runs from {low:g} to {high:g}; "
            "the low end must be 0 or more and below the high end."
        )
    return Band(low, high, "your own band")


def density_band(given, canopies=1, variety="", training="", climate=""):
    """Return the band of shoots per metre of canopy [1/m] for a block.

    Parameters
    ----------
    given, canopies, variety, training, climate
        As in ``ravaz_band``.

    Notes
    -----
    For a minimal hedge none is known: ``NO_DENSITY``, which judges nothing.
    """
    if given is None and training == HEDGE:
        return NO_DENSITY
    known = _of_variety("band.shoots_per_m.", variety, climate)
    return resolve(given, known or "band.shoots_per_m.undivided", "shoots per metre")


def ravaz_band(given, canopies=1, variety="", training="", climate=""):
    """Return the band of the Ravaz index [kg/kg] for a block.

    Parameters
    ----------
    given : None, str, tuple or Band
        As in ``resolve``; the rest only matters when nothing is given.
    canopies : int
        Canopy walls a vine fills [1].
    variety, training, climate : str
        As in table blocks; empty where not said.

    Notes
    -----
    A band of the variety (in its climate) comes first, then that of divided canopies, then the
    general one for vines that have no single canopy: on a head, or a minimal hedge.
    """
    key = _of_variety("band.ravaz.", variety, climate)
    if not key and canopies > 1:
        key = "band.ravaz.divided"
    elif not key:
        key = "band.ravaz.general" if training in (HEAD, HEDGE) else "band.ravaz.single"
    return resolve(given, key, "yield to pruning weight")


def _of_variety(prefix, variety, climate):
    """Return the key of the band that the handbook keeps for a variety, or an empty text."""
    for key in handbook.keys(prefix):
        extra = handbook.entry(key).extra
        named = any(handbook.same_variety(variety, name) for name in extra.get("varieties", ()))
        if named and extra.get("climate", climate) == climate:
            return key
    return ""
