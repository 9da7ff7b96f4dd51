"""Every refusal of bowtrue: one root class, each refusal also a builtin's subclass.

The text of an error names the thing, the rule and the value that broke it, and says what to do next. Only the
root class and the few kinds shared by several packages live here; a kind that one module raises lives beside it.
"""

from __future__ import annotations


class BowtrueError(Exception):
    """Root of everything bowtrue refuses; the command line turns it into one line and exit code 2."""


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
