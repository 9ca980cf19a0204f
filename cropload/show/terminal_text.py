"""Text for a terminal: its width, letters of any alphabet, and lines that are broken to fit."""

import shutil
import sys
import unicodedata

#: Width of text that does not go to a terminal, and the bounds of one that does [columns].
WIDTH = 80
NARROWEST, WIDEST = 40, 120
#: Joiners that some scripts need inside words; every other invisible sign is shown or dropped.
_JOINERS = "\u200c\u200d"
_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Zl", "Zp")


def screen_width(stream=None):
    """Return the columns to fill [1]: the terminal's within bounds, 80 for a file or a pipe."""
    stream = sys.stdout if stream is None else stream
    if not (hasattr(stream, "isatty") and stream.isatty()):
        return WIDTH
    return max(NARROWEST, min(WIDEST, shutil.get_terminal_size((WIDTH, 24)).columns))


def printable(text, keep="\n"):
    """Return text that cannot command a terminal: control characters made visible.

    Parameters
    ----------
    text : object
        Anything; its ``str`` is taken.
    keep : str
        Control characters that stay as they are.

    Examples
    --------
    >>> printable("Block \\x1b[31mred")
    'Block \\\\x1b[31mred'
    """
    text = str(text)
    if text.isascii() and text.replace("\n", "").isprintable() and "\n" in keep:
        return text
    return "".join(_visible(sign, keep) for sign in text)


def _visible(sign, keep):
    if sign in keep or sign in _JOINERS or unicodedata.category(sign) not in _HIDDEN:
        return sign
    return ascii(sign)[1:-1]


def text_width(text):
    """Return the columns a text takes on a terminal [1].

    Notes
    -----
    East Asian wide signs take two columns, combining marks and joiners none (Unicode Standard
    Annex 11, East Asian Width).  Valid for terminals that follow it.

    Examples
    --------
    >>> text_width("Riesling"), text_width("葡萄"), text_width("e\\u0301")
    (8, 4, 1)
    """
    return sum(_sign_width(sign) for sign in text)


def _sign_width(sign):
    if unicodedata.category(sign) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1


def wrap_text(text, width):
    """Return the lines of a text, broken at spaces, and inside words that are longer than a line.

    Parameters
    ----------
    text : str
        The text; runs of white space count as one space.
    width : int
        The longest line [columns].
    """
    lines, line = [], ""
    for word in _words(str(text)):
        joined = f"{line} {word}" if line else word
        if text_width(joined) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        *full, line = _pieces(word, width)
        lines += full
    return [*lines, line] if line or not lines else lines


def _words(text):
    """Return the words of a text; a per cent sign stays with its number."""
    found = []
    for word in text.split():
        if word.startswith("%") and found:
            found[-1] += f" {word}"
        else:
            found.append(word)
    return found


def _pieces(word, width):
    pieces, piece, used = [], "", 0
    for sign in word:
        step = _sign_width(sign)
        if used + step > width and piece:
            pieces.append(piece)
            piece, used = "", 0
        piece, used = piece + sign, used + step
    return [*pieces, piece]


def paragraph(text, indent="", width=None):
    """Return one paragraph, its lines broken to fit, further lines under the first word."""
    width = screen_width() if width is None else width
    text = printable(text, keep="")
    further = " " * len(indent)
    lines = wrap_text(text, width - len(indent))
    return "\n".join((indent if at == 0 else further) + line for at, line in enumerate(lines))
