"""The lock on an output folder: one run at a time writes there."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from packpale.faults import Faults

LOCK = ".lock"
"""File in the output folder that is locked. It stays: a lock file that is removed can be locked by two runs."""
HOLDER = ".lock-holder"
"""File beside it: name of the run that holds the lock, and its process."""


@contextmanager
def locked(out: Path, run: str) -> Iterator[None]:
    """Hold the lock of an output folder, which exists, for the run of that name until the block ends.

    The operating system ends the lock with the process, so that a killed run leaves none behind. On a file system
    without locks the block runs without one. Raises Faults if another run holds it.
    """
    lock = FileLock(out / LOCK, timeout=0)
    try:
        lock.acquire()
    except Timeout as error:
        raise Faults(
            f"{out}: another run{_process(out)} is writing there; wait for its end or choose another --out"
        ) from error
    except NotImplementedError:
        # The library's word for a file system that has no locks; some say it by a number of their own, below.
        pass
    except OSError as error:
        if error.errno not in (errno.ENOLCK, errno.ENOSYS, errno.ENOTSUP):
            raise
    try:
        (out / HOLDER).write_text(f"{run} {os.getpid()}\n", encoding="utf-8")
        yield
        (out / HOLDER).unlink(missing_ok=True)
    finally:
        lock.release()


def holds(out: Path, run: str) -> bool:
    """Whether the run of that name is the one that took the lock last."""
    with suppress(OSError):
        return (out / HOLDER).read_text(encoding="utf-8").split()[:1] == [run]
    return False


def _process(out: Path) -> str:
    with suppress(OSError, IndexError):
        return f" (process {(out / HOLDER).read_text(encoding='utf-8').split()[1]})"
    return ""
