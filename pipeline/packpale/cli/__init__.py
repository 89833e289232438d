"""The front door: commands, messages, exit statuses, progress, the first settings file."""

from packpale.cli.commands import commands, main

__all__ = ["commands", "main"]
