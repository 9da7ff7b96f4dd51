"""Every refusal of bowtrue: one root class, each refusal also a builtin's subclass.

The text of an error names the thing, the rule and the value that broke it, and says what to do next. Only the
root class and the few kinds shared by several packages live here; a kind that one module raises lives beside it.
"""

from __future__ import annotations

LONGEST_LINE = 600


class BowtrueError(Exception):
    """Root of everything bowtrue refuses; the command line turns it into one line and exit code 2.

    Its text quotes files and names that come from anywhere: it is told as ``shown`` has it.
    """

    def __str__(self) -> str:
        return shown(super().__str__())


def shown(text: str) -> str:
    """``text`` as it may go to a terminal: what does not print is escaped (``\\x1b``), long lines lose their middle."""
    if text.isprintable() and len(text) <= LONGEST_LINE:
        return text
    return "\n".join(_bounded(_escaped(line)) for line in text.split("\n"))


def one_line(text: str) -> str:
    """``text`` from a file, for quoting inside a line: line ends are escaped too."""
    return _bounded(_escaped(text))


def _escaped(line: str) -> str:
    if line.isprintable():
        return line
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in line)


def _bounded(line: str) -> str:
    half = LONGEST_LINE // 2 - 3
    return line if len(line) <= LONGEST_LINE else f"{line[:half]} ... {line[-half:]}"


class BadValueError(BowtrueError, ValueError):
    """A value breaks a stated rule."""


class BadShapeError(BowtrueError, ValueError):
    """An array has the wrong shape."""


class BadFileError(BowtrueError, ValueError):
    """A file cannot be what it claims to be, or holds something that cannot be used."""


class MissingFileError(BowtrueError, FileNotFoundError):
    """A named file does not exist."""


class NoAnswerError(BowtrueError, ArithmeticError):
    """A computation has no answer that can be proven, so none is given."""
