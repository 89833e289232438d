"""Workers that come to grief; in a module of its own, so that a spawned process can import it."""

import os
import signal
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

from packpale.holding import end_with_the_run
from packpale.one_plot import Job


@dataclass(frozen=True)
class _WithoutInputs(Job):
    @property
    def area_m2(self):
        return 0.0


@dataclass(frozen=True)
class Deadly(_WithoutInputs):
    """A job that ends its process as lack of memory does: from outside, without a word."""

    @property
    def building(self):
        os.kill(os.getpid(), signal.SIGKILL)


@dataclass(frozen=True)
class Told(_WithoutInputs):
    """A job without inputs, which fails; it tells its process, and lasts longer than the end of another is unseen."""

    @property
    def building(self):
        time.sleep(0.15)
        with (self.out / "processes").open("a", encoding="utf-8") as file:
            file.write(f"{os.getpid()}\n")
        return super().building


def sleep_and_tell():
    sys.stdout.write(f"{os.getpid()}\n")
    sys.stdout.flush()
    time.sleep(60)


if __name__ == "__main__":
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=end_with_the_run) as pool:
        pool.submit(sleep_and_tell).result()


def waited(seconds):
    """Process of this call, and when it began and ended, on a clock that all processes share."""
    begun = time.time()
    time.sleep(seconds)
    return os.getpid(), begun, time.time()
