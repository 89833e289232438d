"""The output folder of a run: held against other runs, put in order after a run that was killed, plots put in place."""

import errno
import multiprocessing
import os
import secrets
import shutil
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from packpale.faults import Faults

PARTIAL = ".partial"
"""Folder inside the output folder in which everything is built before it is renamed into place."""
PLOTS = "plots"
KEY = "key.txt"
"""Written last into a plot's folder: where it is, the folder is complete."""
LOCK = "run.lock"
MOVED = ".old"
"""Behind the name of a finished folder that makes way for a new one; no folder of a plot has a dot in its name."""


@contextmanager
def held(out: Path) -> Iterator[str]:
    """Hold an output folder until the block ends, whole or not; gives this run's own name, a folder in PARTIAL.

    Each process of the run builds in a folder of its own there, under the name the plot's folder will have.

    The hold is a lock of the operating system, which ends with the process: a killed run leaves none behind. What a
    killed run left half done is put in order first. PARTIAL is gone when the block has ended well.

    Raises Faults if another run holds the folder, or if a link would lead writing out of it.
    """
    for part in (PARTIAL, PLOTS):
        if (out / part).is_symlink():
            raise Faults([f"{out / part}: is a link, and nothing outside {out} is written; remove it"])
    (out / PARTIAL).mkdir(parents=True, exist_ok=True)
    file, clear = _locked(out), False
    name = secrets.token_hex(4)
    try:
        file.seek(0)
        file.truncate()
        file.write(f"{name} {os.getpid()}\n")
        file.flush()
        _put_in_order(out)
        (out / PARTIAL / name).mkdir()
        yield name
        clear = True
    finally:
        if clear and os.name != "nt":
            # Before the hold ends, so that nobody else is building in it; Windows removes no file that is open.
            shutil.rmtree(out / PARTIAL, ignore_errors=True)
        file.close()
        if clear and os.name == "nt":
            shutil.rmtree(out / PARTIAL, ignore_errors=True)


def _locked(out: Path) -> IO[str]:
    path = out / PARTIAL / LOCK
    while True:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = path.open("a+", encoding="utf-8")
        try:
            _lock(file)
            if os.path.samestat(os.fstat(file.fileno()), path.stat()):
                return file
        except FileNotFoundError:
            # The run that held it has ended and cleared up since it was opened.
            pass
        except OSError as error:
            if error.errno in (errno.ENOLCK, errno.ENOSYS, errno.ENOTSUP):
                # A file system without locks: better without a guard than not at all.
                return file
            holder = _holder(path)
            file.close()
            if error.errno not in (errno.EACCES, errno.EAGAIN, errno.EDEADLK):
                raise
            raise Faults(
                [f"{out}: another run{holder} is writing there; wait for its end or choose another --out"]
            ) from error
        file.close()


def _lock(file: IO[str]) -> None:
    if sys.platform == "win32":
        import msvcrt

        file.seek(1 << 20)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)


def _holder(path: Path) -> str:
    try:
        return f" (process {path.read_text(encoding='utf-8').split()[1]})"
    except (OSError, IndexError):
        return ""


def _put_in_order(out: Path) -> None:
    """Put finished plots in place that a killed run left aside; clear away everything else it left."""
    plots = out / PLOTS
    left = [p for p in (out / PARTIAL).iterdir() if p.name != LOCK]
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

    Killed between the two renames, both folders are there and whole: the next run puts one of them in place. Raises
    RuntimeError if the run that built it holds the output folder no more.
    """
    run = built.parents[1]
    if not (run.parent / LOCK).read_text(encoding="utf-8").startswith(run.name):
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


def end_with_the_run() -> None:
    """Let this worker process end when the process that started it does, however that ends.

    A worker of a killed run would otherwise go on with its plot, and then wait for ever.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait() -> None:
        with suppress(OSError):
            parent.join()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()
