"""A first settings file for a user's own land."""

import os
from collections.abc import Sequence
from pathlib import Path

from packpale.cli.template import settings_file
from packpale.faults import Faults, doing

NAME = "packpale.toml"


def write_settings(folder: Path, elevation: Sequence[Path], plots: Path | None) -> Path:
    """Write ``folder/packpale.toml`` with every key, and return its path.

    Paths given are written relative to the folder, so that the folder can be moved with its data. Raises Faults if
    the file exists or a given path does not.
    """
    target = folder / NAME
    faults = [f"{target}: exists and is not overwritten; choose another folder or remove it"] if target.exists() else []
    faults += [
        f"{p}: no such file; name an existing one" for p in (*elevation, *([plots] if plots else [])) if not p.exists()
    ]
    if faults:
        raise Faults(*faults)
    given = {
        "inputs.elevation": [_relative(p, folder) for p in elevation] or ["elevation.tif"],
        "inputs.plots": _relative(plots, folder) if plots else "plots.gpkg",
        "inputs.plot_id": "name",
    }
    text = settings_file(given)
    with doing("writing the settings file"):
        folder.mkdir(parents=True, exist_ok=True)
        # "x": never overwrites, even if the file came into being since the check.
        with target.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    return target


def _relative(path: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()
