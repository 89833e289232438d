"""Where elevation may come from: a file, a folder or pattern of tiles, a virtual raster, an address."""

import glob
import posixpath
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.parse import unquote, urlsplit
from urllib.request import Request, urlopen
from xml.etree.ElementTree import ParseError

from packpale.faults import Faults, Gathering
from packpale.settings.base import ADDRESSES
from packpale.site.crs import names_a_file, refused_file

Source = Path | str
"""A file of this machine, or an address or virtual path as GDAL takes it."""
SUFFIXES = frozenset({".tif", ".tiff", ".img", ".asc", ".bil", ".flt", ".dem", ".hgt", ".jp2", ".adf", ".bt", ".vrt"})
"""What counts as a raster in a folder; by name or pattern any file does."""
POINT_CLOUDS = frozenset({".las", ".laz"})
MOST_TILES = 20_000
HEAD = 1 << 16
"""Bytes of a remote file that are looked at before GDAL sees it."""
TIMEOUT_S = 20
NETWORK = {
    # A listing of the server's folder is of no use, and some answer with a page.
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "GDAL_HTTP_CONNECTTIMEOUT": "10",
    "GDAL_HTTP_TIMEOUT": "60",
    "GDAL_HTTP_MAX_RETRY": "2",
    "GDAL_HTTP_RETRY_DELAY": "1",
}
"""How GDAL reads from a network."""


def is_remote(source: Source) -> bool:
    """Whether a source is no file of this machine."""
    return isinstance(source, str)


def name_of(source: Source) -> str:
    """How messages call a source."""
    if isinstance(source, Path):
        return source.name
    return unquote(posixpath.basename(urlsplit(source).path)) or source


def gdal_path(source: Source) -> str:
    """As GDAL opens it."""
    text = str(source)
    return f"/vsicurl/{text}" if text.startswith(("http://", "https://")) else text


def expanded(sources: Sequence[Source], faults: Gathering) -> list[Source]:
    """Every raster that the settings mean, in their order. Adds to ``faults``."""
    out: list[Source] = []
    for source in sources:
        with faults.gather():
            out += _expanded(source)
    if len(out) > MOST_TILES:
        faults.add(
            f"inputs.elevation: means {len(out):,} rasters, allowed are {MOST_TILES:,}; name those near the plots"
        )
        return []
    return list(dict.fromkeys(out))


def _expanded(source: Source) -> Iterator[Source]:
    if isinstance(source, str):
        yield source
    elif source.is_dir() and source.suffix.lower() != ".gdb":
        tiles = sorted(f for f in source.iterdir() if f.suffix.lower() in SUFFIXES)
        if not tiles:
            raise Faults(f"{source}: is a folder without a raster in it; name the folder that the tiles lie in")
        for tile in tiles:
            yield from _expanded(tile)
    elif glob.has_magic(source.name) and not source.exists():
        tiles = sorted(f for f in source.parent.glob(source.name) if f.is_file())
        if not tiles:
            raise Faults(f"{source}: no file has a name of that pattern; correct it")
        for tile in tiles:
            yield from _expanded(tile)
    elif source.suffix.lower() in POINT_CLOUDS:
        raise Faults(
            f"{source.name}: is a point cloud; packpale start FOLDER --elevation {source.name} --cell 1 makes a raster "
            "of its ground points"
        )
    elif source.suffix.lower() == ".vrt" and source.is_file():
        yield from _of_virtual_raster(source)
    else:
        yield source


def _of_virtual_raster(path: Path) -> list[Source]:
    """The rasters that a virtual raster lays side by side, the topmost first. Raises Faults if it does more."""
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import parse

    if path.stat().st_size > 50_000_000:
        raise Faults(f"{path.name}: is too large for a virtual raster; name the rasters it points to")
    try:
        root = parse(path, forbid_dtd=True).getroot()
    except (DefusedXmlException, ParseError, ValueError) as error:
        raise Faults(f"{path.name}: is no virtual raster ({error}); make it again") from error
    bands = root.findall("VRTRasterBand") if root is not None else []
    plain = root is not None and root.tag == "VRTDataset" and root.get("subClass") is None and len(bands) == 1
    sources = [s for s in (bands[0] if plain else ()) if s.find("SourceFilename") is not None]
    if not (plain and sources and all(map(_is_plain, sources))):
        raise Faults(
            f"{path.name}: does more than lay rasters of one band side by side; name the rasters it points to, or "
            "write it out as a GeoTIFF"
        )
    # The last one named in a virtual raster lies on top; of a list of tiles the first does.
    named = [_named_by(path, s.find("SourceFilename")) for s in reversed(sources)]
    if any(map(is_remote, named)):
        # Whoever names a file of this machine did not ask for a network.
        raise Faults(f"{path.name}: points to an address; name the addresses under inputs.elevation instead")
    return named


def _is_plain(source: Any) -> bool:
    """Whether a source is laid down cell for cell, with nothing computed."""
    if source.tag not in ("SimpleSource", "ComplexSource"):
        return False
    if any(
        source.find(tag) is not None for tag in ("LUT", "ScaleOffset", "ScaleRatio", "ColorTableComponent", "Exponent")
    ):
        return False
    if source.findtext("SourceBand", "1") != "1":
        return False
    here, there = source.find("SrcRect"), source.find("DstRect")
    if here is None or there is None:
        return here is there
    try:
        return all(abs(float(here.get(s, "")) - float(there.get(s, ""))) < 1e-6 for s in ("xSize", "ySize"))
    except ValueError:
        return False


def _named_by(path: Path, filename: Any) -> Source:
    text = (filename.text or "").strip()
    if text.startswith(ADDRESSES):
        return text
    return path.parent / text if filename.get("relativeToVRT") == "1" else Path(text)


def check_remote(address: str) -> None:
    """Raise Faults unless an address answers with a part of a GeoTIFF whose CRS names no file.

    Virtual paths of GDAL other than addresses are left to GDAL.
    """
    if not address.startswith(("http://", "https://")):
        return
    name = name_of(address)
    request = Request(address, headers={"Range": f"bytes=0-{HEAD - 1}"})  # noqa: S310 - the scheme is checked above
    try:
        with urlopen(request, timeout=TIMEOUT_S) as answer:  # noqa: S310
            partial, head = answer.status == 206, answer.read(HEAD)
    except HTTPError as error:
        raise Faults(
            f"{name}: the server answers {error.code} ({error.reason}) to {address}; correct the address"
        ) from error
    except (URLError, OSError, ValueError) as error:
        reason = getattr(error, "reason", error)
        raise Faults(
            f"{name}: the network does not reach {address} ({reason}); look at the connection and the address, or "
            "download the file and name it"
        ) from error
    if not partial:
        raise Faults(f"{name}: the server at {address} does not send parts of files; download the file and name it")
    if head[:4] not in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        raise Faults(f"{name}: what {address} sends is no GeoTIFF; name one, or download the file")
    if names_a_file(head.decode("utf-8", "replace")):
        raise Faults(refused_file(name))
