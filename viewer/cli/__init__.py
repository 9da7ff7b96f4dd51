"""The command ``bowtrue``: parse, call the library, print, exit code. One module a command, imported when it is used.

Exit codes: 0 done, 2 bad input (one line on standard error says what and what to do), 130 interrupted.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from mesh_tools.errors import BowtrueError

COMMANDS = {
    "demo": "plan the invented demo case: nothing to prepare",
    "plan": "plan a case file: from scans to the bend of the outer bow",
    "centre": "estimate the centre of resistance of one tooth by every method",
    "bow": "find wires, joint, hooks and bends of a face-bow from a scan of it",
    "register": "lay one scan on another by landmarks, by shape or by both, and tell what is left",
    "find": "propose planes, arch form, molars and landmarks that a scan of an arch or a head shows by itself",
    "study": "estimate many teeth by every method: one table, agreement, pictures",
    "sheets": "papers at 1:1 for chair and bench (PDF, SVG, DXF), bent bow and checking jig as STL, the scene",
    "check": "measured with the bow in the mouth: where the line of force really runs, and the bend that trues it",
    "visit": "note a visit, see the course so far beside published rates, and what to look at next",
    "selftest": "compute published figures again on this machine, side by side with their sources",
    "moved": "two scans months apart: what each molar really did, beside what the plan predicted",
    "pulls": "compare neck strap, high pull and both together for a case, side by side",
    "prescribe": "suggest pull, force and hours as a starting point, each with its source",
    "look": "say what a mesh is: size, unit, shells, holes, what repair would change",
    "page": "plan on a page in the browser, on this machine only",
}
SHORT_CAUTION = (
    "Planning aid for licensed practitioners, not a medical device; read the cautions on every plan."
)


class _OneLineParser(argparse.ArgumentParser):
    """A parser whose refusal is one line."""

    def error(self, message: str) -> NoReturn:
        print(f"{self.prog}: error: {message} (see {self.prog} --help)", file=sys.stderr)
        raise SystemExit(2)


def parser(chosen: Sequence[str]) -> argparse.ArgumentParser:
    """The command line's parser; only the options of the command in ``chosen`` are loaded."""
    top = _OneLineParser(
        prog="bowtrue",
        description="Plans the bend of a headgear face-bow from the root geometry of the molar it pulls.",
        epilog=SHORT_CAUTION,
    )
    top.add_argument("--version", action="store_true", help="print the version and stop")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", parser_class=_OneLineParser)
    wanted = next((word for word in chosen if not word.startswith("-")), None)
    for name, summary in COMMANDS.items():
        sub = commands.add_parser(
            name, help=summary, description=summary[0].upper() + summary[1:] + ".", epilog=SHORT_CAUTION,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        if name == wanted:
            module = importlib.import_module(f"viewer.cli.{name}")
            module.add_arguments(sub)
            sub.set_defaults(run=module.run)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    top = parser(words)
    args = top.parse_args(words)
    if args.version:
        print(_version())
        return 0
    if args.command is None:
        top.print_help()
        return 0
    return _guarded(args)


def _guarded(args: argparse.Namespace) -> int:
    try:
        code: int = args.run(args)
        sys.stdout.flush()
        return code
    except BowtrueError as err:
        for line in str(err).splitlines() or [type(err).__name__]:
            print(f"bowtrue: error: {line}", file=sys.stderr)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except ModuleNotFoundError as err:
        from viewer.extras import told

        print(f"bowtrue: error: {told(err.name or '')}", file=sys.stderr)
    except OSError as err:
        where = f" {err.filename}" if err.filename else ""
        print(f"bowtrue: error: cannot read or write{where}: {err.strerror or err}.", file=sys.stderr)
    except MemoryError:
        print("bowtrue: error: not enough memory for this input; use a coarser mesh.", file=sys.stderr)
    except KeyboardInterrupt:
        print("bowtrue: stopped; nothing half-written is left.", file=sys.stderr)
        return 130
    return 2


def _version() -> str:
    from importlib.metadata import version

    return f"bowtrue {version('bowtrue')}"
