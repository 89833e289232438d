"""Errors as lines on stderr, and the exit status of each kind."""

import sys
import tomllib
import traceback
from pathlib import Path
from typing import Any

import click

from packpale.faults import Faults, in_words, lacks_memory
from packpale.units import feet_too

FIRST_SETTINGS = "packpale.toml"
"""Name of the settings file that start writes."""
EXIT_FAULT, EXIT_PLOT_FAILED, EXIT_BUG, EXIT_STOPPED = 2, 3, 1, 130


class errors_as_lines:  # noqa: N801 - reads as a phrase where it is used
    """Context in which faults end the program with one line each and status 2, and bugs with one line and status 1.

    With ``debug`` the traceback of whatever is no fault comes first. Where ``settings`` is a file that asks for
    imperial units, or ``imperial`` is True, figures in messages have them beside the metric ones.
    """

    def __init__(self, *, debug: bool, settings: Path | None = None, imperial: bool = False) -> None:
        self.debug = debug
        self.units = feet_too(imperial or (settings is not None and says_imperial(settings)))

    def __enter__(self) -> None:
        self.units.__enter__()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, where: Any) -> None:
        self.units.__exit__(None, None, None)
        if error is None or isinstance(error, SystemExit):
            return
        if isinstance(error, KeyboardInterrupt):
            click.echo("stopped; the same command goes on where it was", err=True)
            sys.exit(EXIT_STOPPED)
        if not isinstance(error, Exception):
            return
        for note in getattr(error, "__notes__", ()):
            click.echo(note, err=True)
        if isinstance(error, Faults):
            for line in error.lines:
                click.echo(line, err=True)
            sys.exit(EXIT_FAULT)
        if self.debug:
            traceback.print_exception(error)
        if isinstance(error, OSError) or lacks_memory(error):
            click.echo(in_words(error), err=True)
            sys.exit(EXIT_FAULT)
        click.echo(f"error in the program: {in_words(error)}; --debug shows where", err=True)
        sys.exit(EXIT_BUG)


def says_imperial(settings: Path) -> bool:
    """Whether a settings file asks for imperial units; False where that cannot be told."""
    from packpale.settings.reading import MOST_BYTES

    try:
        # A device would be read for ever, and anything larger is no settings file.
        if not settings.is_file() or settings.stat().st_size > MOST_BYTES:
            return False
        return tomllib.loads(settings.read_text(encoding="utf-8-sig")).get("units") == "imperial"
    except (OSError, ValueError, RecursionError):
        return False
