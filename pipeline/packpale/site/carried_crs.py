"""The CRS that a file carries, looked at before any reader sees it.

GDAL opens a grid file as soon as it sees a CRS that is bound to one, wherever that file lies and whatever it is. So
the text of the CRS is read here first, from the file itself and from those beside it.
"""

import html
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from packpale.faults import Faults
from packpale.site.crs import names_a_file, refused_file
from packpale.site.files import SKIPPED, beside, check_file

ENDS = 1 << 16
"""Bytes at the beginning and at the end of a file in which formats keep their CRS."""
OVERLAP = 1 << 10
"""Bytes that what names a file takes at most, each letter written as a number."""
SQLITE = b"SQLite format 3\0"
_JSON_LETTER = re.compile(r"\\u00([0-7][0-9a-fA-F])")
_CRS_OF_XML = re.compile(r"<(?:SRS|WKT)\b[^>]*>(.*?)</(?:SRS|WKT)\s*>", re.DOTALL | re.IGNORECASE)


def refuse_bound_crs(path: Path) -> None:
    """Raise Faults if the CRS that a data set carries, in its file or in one beside it, names a file.

    Raises Faults too if a file beside it is a device or pipe, for which a reader would wait.
    """
    files = [f for f in path.rglob("*") if f.is_file()] if path.is_dir() else [path, *beside(path)]
    for file in files:
        check_file(file, "move it away")
        if any(names_a_file(text) for text in _texts(file)):
            raise Faults(refused_file(path.name if file == path else f"{path.name} ({file.name})"))


def _texts(file: Path) -> Iterator[str]:
    """Whatever may be a CRS in a file, as its reader would see it."""
    with file.open("rb") as stream:
        data = stream.read(ENDS)
        size = stream.seek(0, 2)
        if data.lstrip(SKIPPED).startswith(b"{"):
            # In JSON it may stand anywhere. Pieces overlap, so that nothing is cut in two.
            for start in range(0, size, ENDS):
                stream.seek(start)
                yield _plain(stream.read(ENDS + OVERLAP))
            return
        stream.seek(max(ENDS, size - ENDS))
        data += stream.read()
    if data.startswith(SQLITE):
        # Its pages are not in the order of the text.
        yield from _definitions(file)
    elif file.suffix.casefold() in (".prj", ".qpj"):
        yield data.decode("utf-8", "replace")
    elif file.suffix.casefold() == ".xml":
        yield from _CRS_OF_XML.findall(_plain(data))
        yield _CRS_OF_XML.sub("", _plain(data))
    else:
        yield _plain(data)


def _plain(data: bytes) -> str:
    """Text with the letters that XML or JSON write as numbers."""
    text = html.unescape(data.decode("utf-8", "replace"))
    return _JSON_LETTER.sub(lambda found: chr(int(found[1], 16)), text)


def _definitions(file: Path) -> Iterator[str]:
    """The CRS that a GeoPackage lists."""
    try:
        with closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as base:
            rows = base.execute("select * from gpkg_spatial_ref_sys").fetchmany(100_000)
    except sqlite3.Error:
        # Damaged, or no GeoPackage: its reader says so.
        return
    yield from (str(value) for row in rows for value in row)
