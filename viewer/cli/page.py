"""``bowtrue page [CASE]``: plan on a page in the browser, on this machine only; ``--window``: a desktop window."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from mesh_tools.errors import BadValueError, BowtrueError, MissingFileError

if TYPE_CHECKING:
    from viewer.page.house import House

LOOPBACK = "127.0.0.1"


class MissingExtraError(BowtrueError, ImportError):
    """An optional part of the installation is needed for this command."""


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """Options of ``page``."""
    sub.add_argument(
        "case", type=Path, nargs="?", help="the case file, or a folder of cases (default: this folder)"
    )
    sub.add_argument("--port", type=int, default=0, help="port to listen on (default: a free one)")
    sub.add_argument(
        "--no-browser", action="store_true", help="print the address and do not open the browser"
    )
    sub.add_argument(
        "--language", default="en", metavar="CODE", help="catalogue of words to use (default: en)"
    )
    sub.add_argument(
        "--window", action="store_true", help="show the planned scene in a desktop window instead of a page"
    )
    sub.add_argument(
        "--host", default=LOOPBACK, help="address to listen on (default: 127.0.0.1, this machine only)"
    )
    sub.add_argument(
        "--expose",
        action="store_true",
        help="allow a --host that other machines can reach: traffic is not encrypted; read docs/page.md first",
    )
    sub.add_argument(
        "--name", action="append", default=[], metavar="HOST",
        help="with --expose: a name or address by which a browser may call this machine (may be given again)",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Serve the page, or open the window, until it is closed."""
    _speak(args.language)
    if args.window:
        return _window(args.case)
    _check_host(args)
    try:
        import nicegui  # noqa: F401
    except ImportError as err:
        raise MissingExtraError('the page needs its extra: pip install "bowtrue[page]".') from err
    from viewer.page.server import serve

    serve(
        _house(args.case), args.host, args.port, names=tuple(args.name), show=not args.no_browser, told=_told
    )
    return 0


def _told(line: str) -> None:
    print(line, flush=True)


def _speak(language: str) -> None:
    from viewer.page.words import speak

    if not language.isidentifier():
        raise BadValueError(f"--language must be a code such as en; got {language!r}.")
    try:
        speak(language)
    except ImportError as err:
        raise BadValueError(f"there is no catalogue of words for --language {language}; use en.") from err


def _house(case: Path | None) -> House:
    from viewer.page.house import House

    where = Path.cwd() if case is None else case
    if where.is_dir():
        return House(where.resolve())
    house = House(where.absolute().parent)
    house.open_file(where)
    return house


def _check_host(args: argparse.Namespace) -> None:
    """Raises BadValueError for an address others can reach without --expose; with it, says what that means."""
    from viewer.page.words import say

    if not 0 <= args.port <= 65535:
        raise BadValueError(f"--port must be from 0 to 65535; got {args.port}.")
    own = args.host in (LOOPBACK, "::1", "localhost")
    if own and args.name:
        raise BadValueError("--name belongs to --expose with a --host that other machines can reach.")
    if own:
        return
    if not args.expose:
        raise BadValueError(
            f"--host {args.host} would let other machines reach the page; add --expose if that is meant, or leave "
            "--host away."
        )
    if args.host in ("0.0.0.0", "::") and not args.name:
        raise BadValueError(
            f"--host {args.host} needs --name with the name or address that browsers will use."
        )
    print(say("terminal_exposed", host=args.host), file=sys.stderr, flush=True)


def _window(case: Path | None) -> int:
    from casework.case_file import read_case
    from casework.planning import plan_case, with_choices
    from viewer.page.window import check_screen, show_window
    from viewer.scene_of_plan import scene_of_plan

    where = Path.cwd() / "case.toml" if case is None else case / "case.toml" if case.is_dir() else case
    if not where.exists():
        raise MissingFileError(f"case file {where} does not exist; give the path of a case.toml.")
    check_screen()
    model = with_choices(read_case(where), rigid_bow=False, ideal_tubes=False, sampled=False)
    show_window(scene_of_plan(plan_case(model, where.parent)))
    return 0
