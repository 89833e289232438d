"""The layers of a plot read back from its own files."""

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from packpale.faults import Faults, damaged

PLOT_LAYERS = "layers.gpkg"
"""The layers of one plot, in its folder."""


SCREENED_LAYERS = ("plots", "fence_lines")
"""Layers of a plot that was only screened, each a FlatGeobuf of its name: a tenth of a GeoPackage's size."""
HEAD_BYTES = 8
ENVELOPE_BYTES = (0, 32, 48, 48, 64)
"""What stands before a geometry's well-known binary in a GeoPackage: a head whose fourth byte holds, in bits 1 to 3,
which of these sizes the box after it has. OGC 12-128r19, table 5."""


@dataclass(frozen=True)
class Layer:
    """Rows of a layer: each has an entry in ``shapes``, its geometry as well-known binary, and in every column."""

    shapes: Sequence[bytes | None]
    columns: Mapping[str, Sequence[Any]]
    """None, or NaN among numbers, where there is no value."""

    def __len__(self) -> int:
        return len(self.shapes)

    @property
    def geometry(self) -> list[Any]:
        """The shapes as shapely ones."""
        import shapely

        return list(shapely.from_wkb(list(self.shapes)))

    def rows(self) -> Iterator[dict[str, Any]]:
        """Row by row, its shapely geometry under ``geometry``."""
        for k, geometry in enumerate(self.geometry):
            yield {name: values[k] for name, values in self.columns.items()} | {"geometry": geometry}


def read_layer(path: Path, layer: str) -> Layer:
    """A layer of a plot as it was written, in the order of its rows; without rows where there is none of that name.

    ``path`` is that of its GeoPackage, beside which a plot that was only screened has others. Raises Faults if the
    file cannot be read.
    """
    return read_layers(path, (layer,)).get(layer, Layer([], {}))


def read_layers(path: Path, only: Sequence[str] = ()) -> dict[str, Layer]:
    """All layers that a plot has, or of ``only`` some, by name; else as ``read_layer``."""
    if not path.exists() and any(beside(path, name).exists() for name in SCREENED_LAYERS):
        there = [name for name in only or SCREENED_LAYERS if beside(path, name).exists()]
        return {name: _flatgeobuf(beside(path, name)) for name in there}
    try:
        # Not by GDAL: to open each layer takes it as long as all of them take here.
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as package:
            names = package.execute("SELECT table_name, column_name FROM gpkg_geometry_columns").fetchall()
            return {name: _table(package, name, shape) for name, shape in names if not only or name in only}
    except sqlite3.DatabaseError as error:
        raise Faults(damaged(path, error)) from error


def _flatgeobuf(path: Path) -> Layer:
    import pyogrio

    try:
        head, _, shapes, columns = pyogrio.raw.read(path)
    except pyogrio.errors.DataSourceError as error:
        raise Faults(damaged(path, error)) from error
    return Layer(shapes.tolist(), {name: c.tolist() for name, c in zip(head["fields"], columns, strict=True)})


def _table(package: sqlite3.Connection, name: str, shape: str) -> Layer:
    # Names of layers are our own.
    rows = package.execute(f'SELECT * FROM "{name}" ORDER BY fid')  # noqa: S608
    names = [told[0] for told in rows.description]
    columns = dict(zip(names, zip(*rows, strict=True), strict=False)) or dict.fromkeys(names, ())
    is_bool = {column for _, column, kind, *_ in package.execute(f'PRAGMA table_info("{name}")') if kind == "BOOLEAN"}
    return Layer(
        [blob and blob[HEAD_BYTES + ENVELOPE_BYTES[blob[3] >> 1 & 7] :] for blob in columns[shape]],
        {
            column: [v if v is None else bool(v) for v in values] if column in is_bool else values
            for column, values in columns.items()
            if column not in ("fid", shape)
        },
    )


def beside(path: Path, layer: str) -> Path:
    """File of a layer of a plot that was only screened."""
    return path.with_name(f"{layer}.fgb")
