"""Files before any reader opens them: whether they are files at all, and of a size and kind that can be read."""

import codecs
import errno
import stat
from pathlib import Path

from packpale.faults import Faults

HEAD = 256
"""Bytes that tell what a file is."""
PACKED = {b"PK\x03\x04": "ZIP", b"PK\x05\x06": "ZIP", b"\x1f\x8b": "gzip", b"7z\xbc\xaf": "7z", b"\xfd7zXZ": "xz"}
"""How packed files begin; a small one may hold more than any memory does."""


def check_file(path: Path, folder: str) -> None:
    """Raise Faults unless there is an ordinary file; ``folder`` says what to do where a folder was named."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError) as error:
        if isinstance(error, OSError) and error.errno == errno.EACCES:
            raise Faults([f"{path}: cannot be looked at (no permission); allow reading it"]) from error
        raise Faults([f"{path}: there is no such file; correct the path"]) from error
    if stat.S_ISDIR(mode):
        raise Faults([f"{path}: is a folder; {folder}"])
    if not stat.S_ISREG(mode):
        # A pipe would be waited for, a device read for ever.
        raise Faults([f"{path}: is a device or pipe and no ordinary file; copy its content to a file and name that"])


def head_of(path: Path) -> bytes:
    """The first bytes of a file. Raises Faults if it cannot be opened, or is packed."""
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD)
    except OSError as error:
        raise Faults([f"{path}: cannot be read ({error.strerror}); check its permissions"]) from error
    for start, kind in PACKED.items():
        if head.startswith(start):
            raise Faults([f"{path.name}: is packed ({kind}); unpack it and name the file in it"])
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
                raise Faults([f"{path.name}, line {lines}: is not UTF-8 text; save it in UTF-8"]) from error
            if not piece:
                return
            lines += piece.count(b"\n")
