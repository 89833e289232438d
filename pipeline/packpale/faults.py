"""What is wrong with settings or inputs, gathered so that a user sees all of it at once."""

import errno
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

LONGEST_LINE = 900
"""Characters of a fault: what is longer repeats a hostile input, and loses its middle."""

LESS_MEMORY = "use fewer --workers, a smaller land.margin_m, or a larger land.cell_m"
"""What to do where memory does not suffice."""
_NO_MEMORY = re.compile(
    "bad_alloc|out of memory|cannot allocate memory|can't start new thread|"
    # A library that is loaded on first use; other reasons why it cannot be are told behind it.
    r"failed to map segment from shared object(?!: Op)",
    re.IGNORECASE,
)
"""How libraries say that memory ran out, where they have no error of that kind."""


def one_line(text: str) -> str:
    """A text as it can stand in one line on any terminal: what is not printable escaped, the middle of a long one cut.

    The beginning says where, the end says what to do; both stay.
    """
    if len(text) > LONGEST_LINE:
        text = f"{text[: LONGEST_LINE // 2]} ... {text[-LONGEST_LINE // 3 :]}"
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def damaged(file: Path, error: Exception) -> str:
    """The fault of a file of a plot that cannot be read back: without its folder the plot is computed again."""
    return f"{file}: cannot be read back ({error}); remove the folder {file.parent} and start the same command again"


class Faults(Exception):  # noqa: N818 - it carries several, and each is called a fault throughout
    """One or more faults in settings or inputs; each is one line: where, what was found, what to do."""

    def __init__(self, *lines: str) -> None:
        self.lines = tuple(one_line(line) for line in lines)
        super().__init__("\n".join(self.lines))

    def __reduce__(self) -> tuple[type["Faults"], tuple[str, ...]]:
        # Crosses process boundaries with its lines, not with the joined text; so do its kinds.
        return type(self), self.lines


def lacks_memory(error: BaseException | None) -> bool:
    """Whether an error, or one that it came from, says that memory ran out."""
    while error is not None:
        if isinstance(error, MemoryError) or (isinstance(error, OSError) and error.errno == errno.ENOMEM):
            return True
        if not isinstance(error, Faults) and _NO_MEMORY.search(str(error)):
            return True
        error = error.__cause__
    return False


def in_words(error: Exception, *, while_doing: str = "") -> str:
    """What went wrong and what to do, for trouble with files and memory; else the error's kind and text.

    ``while_doing`` says what an error of the operating system came in the way of, such as "reading the inputs".
    """
    if lacks_memory(error):
        # Also where a reader took it for a broken file.
        found = f" ({error})" if str(error) else ""
        return one_line(f"not enough memory{found}; {LESS_MEMORY}")
    if isinstance(error, Faults):
        return "; ".join(error.lines)
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        during = f" while {while_doing}" if while_doing else ""
        return one_line(f"{where}{error.strerror or error}{during}{_advice(error, while_doing)}")
    return one_line(f"{type(error).__name__}: {error}")


def _advice(error: OSError, while_doing: str) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return "; make room and start the same command again, it goes on where it was"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR):
        if while_doing.startswith("reading"):
            return "; allow reading it"
        if while_doing:
            return "; allow writing there, or choose another folder"
    if error.errno == errno.EMFILE:
        return "; use fewer --workers, or allow more open files (ulimit -n)"
    return ""


@contextmanager
def doing(what: str, where: object = None) -> Iterator[None]:
    """Make of an error of the operating system a fault that says what was being done, such as "reading the inputs".

    ``where`` is named if the error names no file.
    """
    try:
        yield
    except OSError as error:
        if lacks_memory(error):
            raise
        if error.errno and not error.filename and where is not None:
            error.filename = str(where)
        raise Faults(in_words(error, while_doing=what)) from error


class Gathering:
    """Collects faults over several checks; ``raise_if_any`` ends the check."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def add(self, line: str) -> None:
        self.lines.append(line)

    @contextmanager
    def gather(self) -> Iterator[None]:
        """Keep the faults raised inside and go on behind the block."""
        try:
            yield
        except Faults as faults:
            self.lines.extend(faults.lines)

    def raise_if_any(self) -> None:
        if self.lines:
            raise Faults(*self.lines)
