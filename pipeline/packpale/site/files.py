"""Files before any reader opens them: whether they are files at all, and of a size and kind that can be read."""

import codecs
import errno
import stat
from pathlib import Path

from packpale.faults import Faults

SKIPPED = b"\xef\xbb\xbf\0 \t\r\n\v\f\x1e"
"""Bytes before a text that its readers pass over: a byte order mark, blanks, what separates records."""
WEB_PAGES = (b"<!doctype html", b"<html")
"""How pages begin that a server sends in place of a file."""
WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
HEAD = 256
"""Bytes that tell what a file is."""
PACKED = {b"PK\x03\x04": "ZIP", b"PK\x05\x06": "ZIP", b"\x1f\x8b": "gzip", b"7z\xbc\xaf": "7z", b"\xfd7zXZ": "xz"}
"""How packed files begin; a small one may hold more than any memory does."""


DATABASE_LOGS = ("-wal", "-journal")
"""Behind the name of an SQLite file, as GeoPackages are: rows on the way into it, or out of it again."""
PARTS = {
    ".shp": frozenset({".shx", ".dbf", ".prj", ".qpj", ".cpg", ".cst", ".sbn", ".sbx", ".qix", ".ind", ".idm"}),
    ".tab": frozenset({".dat", ".map", ".id", ".ind"}),
    ".mif": frozenset({".mid"}),
}
"""Files beside that of a format, by its suffix, that belong to the same data set."""


def check_file(path: Path, folder: str) -> None:
    """Raise Faults unless there is an ordinary file; ``folder`` says what to do where a folder was named."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError) as error:
        if isinstance(error, OSError) and error.errno == errno.EACCES:
            raise Faults(f"{path}: cannot be looked at (no permission); allow reading it") from error
        raise Faults(f"{path}: there is no such file; correct the path") from error
    if stat.S_ISDIR(mode):
        raise Faults(f"{path}: is a folder; {folder}")
    if not stat.S_ISREG(mode):
        # A pipe would be waited for, a device read for ever.
        raise Faults(f"{path}: is a device or pipe and no ordinary file; copy its content to a file and name that")


def beside(path: Path) -> tuple[Path, ...]:
    """Everything else in a file's folder, folders left out, that has its name up to the suffix, in any case."""
    stem = f"{path.stem}.".casefold()
    try:
        names = sorted(p for p in path.parent.iterdir() if p.name.casefold().startswith(stem))
    except OSError:
        # What cannot be listed no reader finds either.
        return ()
    return tuple(p for p in names if p.name != path.name and not p.is_dir())


def files_of(path: Path) -> tuple[Path, ...]:
    """The files that a data set is made of: the one named, and what its format keeps of it in others beside it.

    For a folder all files in it. What a database has not yet written into its file counts. Its index of that does not,
    nor do styles and descriptions: no reading depends on them.
    """
    if path.is_dir():
        return tuple(sorted(p for p in path.rglob("*") if p.is_file()))
    suffixes = PARTS.get(path.suffix.casefold(), frozenset())
    parts = [p for p in beside(path) if p.name[len(path.stem) :].casefold() in suffixes]
    logs = [p for p in (path.with_name(path.name + end) for end in DATABASE_LOGS) if p.is_file()]
    return (path, *parts, *logs)


def head_of(path: Path) -> bytes:
    """The first bytes of a file. Raises Faults if it cannot be opened, is packed, a workbook or a page of the web."""
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD)
    except OSError as error:
        raise Faults(f"{path}: cannot be read ({error.strerror}); check its permissions") from error
    if path.suffix.casefold() in WORKBOOKS:
        raise Faults(f"{path.name}: is a workbook; save the sheet as CSV in UTF-8 and name that")
    if head.lstrip(SKIPPED).lower().startswith(WEB_PAGES):
        raise Faults(f"{path.name}: is a page of the web in place of the file; download the file itself and name that")
    for start, kind in PACKED.items():
        if head.startswith(start):
            raise Faults(f"{path.name}: is packed ({kind}); unpack it and name the file in it")
    return head


def check_utf8(path: Path) -> None:
    """Raise Faults if a text file is not UTF-8; reads it piece by piece."""
    decoder = codecs.getincrementaldecoder("utf-8-sig")()
    lines = 1
    with path.open("rb") as stream:
        while True:
            piece = stream.read(1 << 20)
            try:
                decoder.decode(piece, final=not piece)
            except UnicodeDecodeError as error:
                lines += error.object[: error.start].count(b"\n")
                raise Faults(f"{path.name}, line {lines}: is not UTF-8 text; save it in UTF-8") from error
            if not piece:
                return
            lines += piece.count(b"\n")
