"""The command line: finds the command, and turns every fault into one clear message.

Output goes to standard output and messages to standard error.  The exit code is 0 for success, 2
for a fault of what was given, 3 while a question is open, 130 when stopped by the user, and 1 for a
fault of our own.
"""

import argparse
import contextlib
import errno
import os
import re
import sys
import textwrap
from importlib import import_module
from pkgutil import iter_modules

from cropload import __version__
from cropload.errors import CroploadError, near
from cropload.show import options
from cropload.show.command import GROUPS
from cropload.show.terminal import WIDTH, paragraph, printable, screen_width, wrap_text

SUCCESS, OUR_FAULT, USER_FAULT, STOPPED = 0, 1, 2, 130

ABOUT = (
    "Compare winter pruning levels of a vineyard block, from buds to tonnes, with honest ranges."
)
FIRST_STEPS = """\
First steps:
  cropload new my_season --example    copy the invented sample estate
  cropload open my_season             work with it in the browser
  cropload compare my_season --block "Long Acre" --plans 3x6+3x2,3x8+3x2

`cropload COMMAND --help` explains a command, its units and gives an example."""


#: The questions, and the pages, whose folders ``commands`` are looked through.
ROOMS = ("pages", "pruning", "season", "frost", "winery", "review", "owner", "outside")


class UsageFault(CroploadError):
    """A command line that cannot be understood."""


class _Parser(argparse.ArgumentParser):
    """A parser that raises instead of ending the program, and suggests near names."""

    def error(self, message):
        message = message.removeprefix("argument ")
        end = "" if message.endswith((".", "?")) else "."
        raise UsageFault(f"{self.prog}: {message}{end} See `{self.prog} --help`.")

    def read(self, arguments):
        # A slip in a name is told before what is missing because of it.
        for argument in arguments:
            name = argument.split("=")[0]
            if name.startswith("--") and name not in self._option_string_actions:
                self._stop_at(argument, name)
        options, unknown = self.parse_known_args(arguments)
        if unknown:
            self._stop_at(unknown[0], unknown[0].split("=")[0])
        return options

    def _stop_at(self, argument, name):
        known = [name for name in self._option_string_actions if name.startswith("--")]
        hint = near(name, known) if name.startswith("-") else ""
        self.error(f"'{argument}' is not understood. {hint}".strip())


def all_commands():
    """Return {name: Command} of every command, in the order of the help."""
    modules = []
    for room in ROOMS:
        folder = import_module(f"cropload.{room}.commands")
        modules += [module.name for module in iter_modules(folder.__path__, f"{folder.__name__}.")]
    modules.sort(key=lambda name: name.rpartition(".")[2])
    found = [command for name in modules for command in import_module(name).COMMANDS]
    found.sort(key=lambda command: GROUPS.index(command.group))
    return {command.name: command for command in found}


def command_parser(command):
    """Return the parser of one command."""
    parser = _Parser(
        prog=f"cropload {command.name}",
        description=textwrap.fill(command.details or command.summary, 78),
        epilog="Example:\n" + textwrap.indent(textwrap.dedent(command.example).strip(), "  "),
        formatter_class=lambda prog: argparse.RawDescriptionHelpFormatter(prog, width=WIDTH),
        allow_abbrev=False,
    )
    options.together(*command.arguments)(parser)
    if command.many:
        options.MANY(parser)
        (folder,) = (each for each in parser._actions if each.dest == "folder")
        folder.nargs, folder.help = "*", f"{folder.help}; or many"
    parser.add_argument(
        "--debug", action="store_true", help="show where in the program a fault arose"
    )
    parser.usage = _usage(parser)
    return parser


def _usage(parser):
    """Return a line with what must be given; the rest is listed below it anyway."""
    needed, alternatives, placed = [], {}, 0
    for group in parser._mutually_exclusive_groups:
        if group.required:
            alternatives |= {id(action): group for action in group._group_actions}
    for action in parser._actions:
        shown = " ".join(filter(None, (*action.option_strings[-1:], action.metavar)))
        group = alternatives.get(id(action))
        if not action.option_strings:
            given = {None: shown, "+": f"{shown} ..."}
            needed.insert(placed, given.get(action.nargs, f"[{shown}]"))
            placed += 1
        elif action.required:
            needed.append(shown)
        elif group is not None and action is group._group_actions[0]:
            either = [
                " ".join(filter(None, (one.option_strings[-1], one.metavar)))
                for one in group._group_actions
            ]
            needed += f"({' |@'.join(either)})".split("@")
    lines, further = [f"usage: {parser.prog}"], " " * (len("usage: ") + len(parser.prog))
    for piece in (*needed, "[options]"):
        if len(lines[-1]) + 1 + len(piece) > WIDTH:
            lines.append(further)
        lines[-1] += f" {piece}"
    return "\n".join(lines).removeprefix("usage: ").replace("%", "%%")


def help_text(commands):
    """Return the list of commands."""
    lines = ["usage: cropload COMMAND ...", "", paragraph(ABOUT, width=WIDTH)]
    longest = max(len(name) for name in commands)
    for group in GROUPS:
        members = [command for command in commands.values() if command.group == group]
        if members:
            lines += ["", f"{group}:"]
        for command in members:
            lines.append(paragraph(command.summary, f"  {command.name:<{longest}}  ", 80))
    return "\n".join([*lines, "", FIRST_STEPS])


def _joined(arguments):
    """Tie a value like ``-1x8`` to its option, so that it is not taken for an option itself."""
    tied = []
    for argument in arguments:
        if re.match(r"-\d", argument) and tied and re.fullmatch(r"--[a-z-]+", tied[-1]):
            tied[-1] += f"={argument}"
        else:
            tied.append(argument)
    return tied


def _answer(arguments):
    """Return the text that answers a command line."""
    if any("\0" in argument for argument in arguments):
        raise UsageFault("An argument holds a NUL byte, which no name can hold. Write it again.")
    commands = all_commands()
    if arguments and arguments[0] == "help":
        arguments = [*arguments[1:2], "--help"]
    if not arguments or arguments[0] in ("-h", "--help"):
        return help_text(commands)
    if arguments[0] in ("-V", "--version"):
        return f"cropload {__version__}"
    name = arguments[0]
    if name not in commands:
        hint = near(name, commands) or f"The commands are: {', '.join(commands)}."
        raise UsageFault(f"'{name}' is not a command of cropload. {hint}")
    parser = command_parser(commands[name])
    if {"-h", "--help"} & set(arguments[1:]):
        return parser.format_help().rstrip()
    given = parser.read(_joined(arguments[1:]))
    if commands[name].many:
        folders, given.folder = given.folder, (given.folder or [None])[0]
        if len(folders) > 1 or given.into or given.workers:
            return _of_many(name, folders, given, arguments[1:])
    found = commands[name].run(given)
    parts = [found or ""] if found is None or isinstance(found, str) else [*found]
    opening = getattr(given, "opening", None)
    return "\n\n".join(filter(None, parts if opening is None else opening.over(parts)))


def _of_many(name, folders, given, arguments):
    """Return what a command says of many folders."""
    from cropload.pages.many_folders import answer

    if not folders or not given.into:
        raise UsageFault(
            f"cropload {name}: many folders need --into PLACE, where their rows are kept, and "
            "--into and --workers need folders."
        )
    for file in ("csv", "sheets", "xlsx", "html"):
        if getattr(given, file, None):
            raise UsageFault(f"cropload {name}: rows of many folders go to --into, not --{file}.")
    names = {"--into", "--workers"}
    shared = [
        each
        for at, each in enumerate(arguments)
        if each not in folders
        and each.partition("=")[0] not in names
        and (at == 0 or arguments[at - 1] not in names)
    ]
    return "\n".join(answer(name, folders, shared, given.into, given.workers))


def tell(message):
    """Write a message to standard error, in lines that fit; a path is never broken."""
    width = screen_width(sys.stderr)
    lines = [
        line
        for text in printable(message).split("\n")
        for line in ([text] if len(text) <= width else wrap_text(text, width, whole_words=True))
    ]
    print("\n".join(lines), file=sys.stderr, flush=True)


def _drop_output():
    """Keep Python from complaining at its end that nobody reads the output."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main(arguments=None):
    """Run the command line.

    Parameters
    ----------
    arguments : list of str, optional
        What follows the name of the program; the shell's when not given.

    Returns
    -------
    int
        The exit code: 0, 1, 2, 3 or 130.
    """
    from_shell = arguments is None
    arguments = sys.argv[1:] if from_shell else list(arguments)
    debug = "--debug" in arguments
    if from_shell:
        _prepare_streams(debug)
    try:
        text = _answer(arguments)
        if text:
            print(printable(text))
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()
    except KeyboardInterrupt:
        tell("Stopped.")
        return STOPPED
    except (CroploadError, OSError) as fault:
        if debug:
            _show_traceback()
        tell(_message(fault))
        return getattr(fault, "code", USER_FAULT)
    except Exception as fault:
        if debug:
            _show_traceback()
        tell(
            f"cropload failed: {type(fault).__name__}: {' '.join(str(fault).split())[:200]}\n"
            "This is a fault of the program. Please report it with the command you gave; "
            "`--debug` at its end shows where it arose."
        )
        return OUR_FAULT
    return SUCCESS


def _short(name, most=60):
    """Return a file name as a message shows it, cut in the middle where it is very long."""
    name = str(name)
    return name if len(name) <= most else f"{name[: most // 2]}...{name[-most // 2 :]}"


def _message(fault):
    if isinstance(fault, OSError) and not isinstance(fault, CroploadError):
        place = f"{_short(fault.filename)}: " if fault.filename else ""
        mend = " Choose a shorter name." if fault.errno == errno.ENAMETOOLONG else ""
        return f"{place}{fault.strerror or fault}.{mend}"
    return str(fault)


def _show_traceback():
    import traceback

    print(printable(traceback.format_exc()), file=sys.stderr, flush=True)


def _prepare_streams(debug):
    """Let names in any alphabet pass a terminal that lacks the letters, and hush library notes."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if not debug and not sys.warnoptions:
        import warnings

        warnings.simplefilter("ignore")
