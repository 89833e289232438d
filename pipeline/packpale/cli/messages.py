"""Errors as lines on stderr, and the exit status of each kind."""

import sys
import traceback
from pathlib import Path
from typing import Any

import click

from packpale.cli.feet import says_imperial, with_feet
from packpale.faults import Faults, in_words, lacks_memory

FIRST_SETTINGS = "packpale.toml"
"""Name of the settings file that start writes."""
EXIT_FAULT, EXIT_PLOT_FAILED, EXIT_BUG, EXIT_STOPPED = 2, 3, 1, 130


class errors_as_lines:  # noqa: N801 - reads as a phrase where it is used
    """Context in which faults end the program with one line each and status 2, and bugs with one line and status 1.

    With ``debug`` the traceback of whatever is no fault comes first. Where ``settings`` is a file that asks for
    imperial units, or ``imperial`` is True, each line has them beside the metric ones.
    """

    def __init__(self, *, debug: bool, settings: Path | None = None, imperial: bool = False) -> None:
        self.debug = debug
        self.settings, self.imperial = settings, imperial

    def say(self, line: str, *, err: bool = False) -> None:
        """One line for the user."""
        if self.imperial or (self.settings is not None and says_imperial(self.settings)):
            line = with_feet(line)
        click.echo(line, err=err)

    def __enter__(self) -> "errors_as_lines":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, where: Any) -> None:
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
                self.say(line, err=True)
            sys.exit(EXIT_FAULT)
        if self.debug:
            traceback.print_exception(error)
        if isinstance(error, OSError) or lacks_memory(error):
            click.echo(in_words(error), err=True)
            sys.exit(EXIT_FAULT)
        click.echo(f"error in the program: {in_words(error)}; --debug shows where", err=True)
        sys.exit(EXIT_BUG)
