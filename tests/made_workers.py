"""Jobs and workers that come to grief; in a module of its own, so that a spawned process can import it."""

import os
import signal
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

from packpale.run.plot import Job
from packpale.run.pool import end_with_parent


@dataclass(frozen=True)
class Deadly(Job):
    """A job that ends its process as lack of memory does: from outside, without a word."""

    @property
    def building(self):
        os.kill(os.getpid(), signal.SIGKILL)


@dataclass(frozen=True)
class DeadlyOnce(Job):
    """The same, the first time only."""

    @property
    def building(self):
        mark = self.out / f"{self.plot_id}-died"
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return super().building


@dataclass(frozen=True)
class Slow(Job):
    """A job without inputs, which fails; not before it has told its process, and not at once."""

    @property
    def building(self):
        with (self.out / "processes").open("a", encoding="utf-8") as file:
            file.write(f"{self.plot_id} {os.getpid()}\n")
        time.sleep(0.2)
        return super().building


def sleep_and_tell():
    sys.stdout.write(f"{os.getpid()}\n")
    sys.stdout.flush()
    time.sleep(60)


if __name__ == "__main__":
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=end_with_parent) as pool:
        pool.submit(sleep_and_tell).result()
