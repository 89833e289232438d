"""Files of a run that are written at the same time, and what happens to those whose process is lost."""

import time
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from threading import Event

import pytest

from packpale.review.run import _write_all


class Processes:
    """Stands for an executor: of what it is given, it does as many as it is told to and is lost over the rest."""

    def __init__(self, lasts):
        self.lasts = lasts

    def submit(self, write):
        if self.lasts < 0:
            raise BrokenProcessPool
        future = Future()
        if self.lasts:
            write()
            future.set_result(None)
        else:
            future.set_exception(BrokenProcessPool())
        self.lasts -= 1
        return future


@pytest.mark.parametrize("executor", [None, Processes(3), Processes(1), Processes(0), Processes(-1)])
def test_every_file_is_written_once_whatever_becomes_of_the_processes(executor):
    written = []
    _write_all(partial(written.append, "page"), [partial(written.append, n) for n in "abc"], executor)
    assert sorted(written) == ["a", "b", "c", "page"]


@pytest.mark.parametrize(("page_last", "order"), [(False, ["page", "a", "b"]), (True, ["a", "b", "page"])])
def test_the_page_is_written_meanwhile_or_when_the_others_are(page_last, order):
    written, page_begun = [], Event()

    def page():
        written.append("page")
        page_begun.set()

    def other(name):
        if not page_last:
            page_begun.wait(10)
        time.sleep(0.05 * page_last)
        written.append(name)

    with ThreadPoolExecutor(1) as executor:
        _write_all(page, [partial(other, "a"), partial(other, "b")], executor, page_last=page_last)
    assert written == order


def test_what_cannot_be_written_is_told():
    def full():
        raise OSError(28, "No space left on device")

    class Elsewhere:
        def submit(self, write):
            future = Future()
            try:
                future.set_result(write())
            except OSError as error:
                future.set_exception(error)
            return future

    for executor in (None, Elsewhere()):
        with pytest.raises(OSError, match="No space left"):
            _write_all(lambda: None, [full], executor)
