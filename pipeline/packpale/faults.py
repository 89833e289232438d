"""What is wrong with settings or inputs, gathered so that a user sees all of it at once."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager


class Faults(Exception):  # noqa: N818 - it carries several, and each is called a fault throughout
    """One or more faults in settings or inputs; each is one line: where, what was found, what to do."""

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = tuple(lines)

    def __reduce__(self) -> tuple[type["Faults"], tuple[tuple[str, ...]]]:
        # Crosses process boundaries with its lines, not with the joined text.
        return Faults, (self.lines,)


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
            raise Faults(self.lines)
