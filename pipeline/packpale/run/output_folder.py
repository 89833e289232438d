"""The output folder of a run: put in order after a killed run, finished plots renamed into place."""

import itertools
import re
import secrets
import shutil
import unicodedata
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from packpale.faults import Faults, doing
from packpale.run.lock import holds, locked

PARTIAL = ".partial"
"""Folder inside the output folder in which everything is built before it is renamed into place."""
PLOTS = "plots"
KEY = "key.txt"
"""Written last into a plot's folder: where it is, the folder is complete."""
MOVED = ".old"
"""Behind the name of a finished folder that makes way for a new one; no folder of a plot ends in it."""
LONGEST_NAME = 60
"""Characters that a folder's name takes from the id: 240 bytes of UTF-8 at most, where disks take 255."""
_WINDOWS_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


@contextmanager
def output_folder(out: Path) -> Iterator[str]:
    """Make and lock an output folder until the block ends; gives this run's own name, a folder in PARTIAL.

    What a killed run left half done is put in order first. PARTIAL is gone when the block has ended well.

    Raises Faults if another run holds the folder, if it cannot be written, or if a link would lead writing out of it.
    """
    for part in (PARTIAL, PLOTS):
        if (out / part).is_symlink():
            raise Faults(f"{out / part}: is a link, and nothing outside {out} is written; remove it")
    with doing("making the output folder"):
        (out / PARTIAL).mkdir(parents=True, exist_ok=True)
    run = secrets.token_hex(4)
    with locked(out, run):
        with doing("putting the output folder in order"):
            _put_in_order(out)
            (out / PARTIAL / run).mkdir(parents=True)
        yield run
        shutil.rmtree(out / PARTIAL, ignore_errors=True)


def _put_in_order(out: Path) -> None:
    """Put finished plots in place that a killed run left aside; clear away everything else it left."""
    plots = out / PLOTS
    left = list((out / PARTIAL).iterdir())
    folders = [f for p in left if p.is_dir() and not p.is_symlink() for f in sorted(p.glob("*/*"))]
    # What was built comes before what was to make way for it.
    for folder in sorted(folders, key=lambda f: f.name.endswith(MOVED)):
        target = plots / folder.name.removesuffix(MOVED)
        if folder.is_dir() and (folder / KEY).is_file() and not target.exists():
            plots.mkdir(exist_ok=True)
            folder.rename(target)
    for thing in left:
        if thing.is_dir() and not thing.is_symlink():
            shutil.rmtree(thing, ignore_errors=True)
        else:
            thing.unlink(missing_ok=True)


def put_in_place(built: Path, target: Path) -> None:
    """Rename a finished folder to its place; what stood there goes first, so that no mixture can ever be seen.

    ``built`` lies in a folder of the run's own folder in PARTIAL. Killed between the two renames, both folders are
    there and whole: the next run puts one of them in place. Raises RuntimeError if the run that built it holds the
    output folder no more.
    """
    run = built.parents[1]
    if not holds(run.parents[1], run.name):
        raise RuntimeError("another run has taken over the output folder")
    target.parent.mkdir(parents=True, exist_ok=True)
    if target.is_symlink():
        target.unlink()
    if target.exists():
        old = built.with_name(built.name + MOVED)
        shutil.rmtree(old, ignore_errors=True)
        target.rename(old)
        built.rename(target)
        shutil.rmtree(old, ignore_errors=True)
    else:
        built.rename(target)


def folder_names(plot_ids: Sequence[str]) -> dict[str, str]:
    """A folder name for each plot: the id where it can stand as one, else a plain form of it and a check sum.

    Letters and digits of any script stay. No two plots share a folder, also where a file system takes letters that
    differ in case, or in how an accent is written, for the same.
    """
    names: dict[str, str] = {}
    taken: set[str] = set()
    # Ids that can stand as they are come first, so that no plain form takes the place of one.
    for plot_id in sorted(plot_ids, key=lambda p: (_plain(p) != p, p)):
        names[plot_id] = next(name for name in _candidates(plot_id) if _as_disk_sees(name) not in taken)
        taken.add(_as_disk_sees(names[plot_id]))
    return {plot_id: names[plot_id] for plot_id in plot_ids}


def _candidates(plot_id: str) -> Iterator[str]:
    plain = _plain(plot_id)
    if plain and plain == plot_id:
        yield plain
    for number in itertools.count():
        check_sum = zlib.crc32(f"{plot_id}{number or ''}".encode("utf-8", "surrogatepass"))
        yield f"{plain or 'plot'}-{check_sum:08x}"


def _plain(plot_id: str) -> str:
    """The id with everything that is no letter, digit, mark, "_" or "-" made one "-"; empty for a name of a device."""
    text = unicodedata.normalize("NFC", plot_id)
    kept = "".join(c if c in "_-" or unicodedata.category(c)[0] in "LNM" else " " for c in text)
    name = "-".join(kept.split())[:LONGEST_NAME].strip("-")
    return "" if _WINDOWS_DEVICES.fullmatch(name) else name


def _as_disk_sees(name: str) -> str:
    return unicodedata.normalize("NFD", name).casefold()
