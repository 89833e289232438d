"""What decides that a plot of an earlier run is kept: cache keys over inputs, settings and code.

A plot's folder has two keys. The first, ``run_key``, stands for all inputs as files: where it holds, the plot is kept
without reading its ground. The second, ``plot_key``, stands for what was read for this plot: it still holds where an
input changed somewhere else.
"""

import dataclasses
import functools
import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from packpale.settings import FEATURE_KINDS, Project
from packpale.site.files import files_of
from packpale.site.inputs import Inputs, plot_reach
from packpale.site.model import Site
from packpale.site.rasters import Elevation

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

NOT_OF_A_PLOT: Any = {
    "inputs": True,
    "enclosure": {"fence_line", "settled_line"},
    "ranking": True,
    "rates": {"file"},
    "run": {"memory_mb", "detail"},
}
"""Settings that no file in a plot's folder depends on. Which inputs are given, and their content, is in the keys by
itself; where they lie is not: the same land on another machine is the same land."""
PATHS: Any = {"inputs": True, "enclosure": {"fence_line", "settled_line"}, "rates": {"file"}}
"""Settings that are paths: the same land on another machine is the same land."""
SAID_OF_FILES: Any = {
    "elevation_unit",
    "elevation_nodata",
    "plots_layer",
    "plot_id",
    "candidates",
    "soil_columns",
    "columns",
}
"""Settings of [inputs] that say how files are to be read."""
CODE = frozenset({".py", ".csv", ".css", ".js", ".html", ".typ"})
"""Endings of the package's files that results depend on."""
LIBRARIES = ("numpy", "numba", "shapely", "pyproj", "rasterio", "fiona", "typst")
"""Whose versions figures and drawings hang on."""


def run_key(project: Project, hashes: Mapping[str, Sequence[tuple[str, str]]]) -> str:
    """Stands for everything that a plot's files depend on but its id; ``hashes`` is what ``input_hashes`` gives."""
    names = project.inputs.model_dump(mode="json", include=SAID_OF_FILES)
    return _sha256([code_digest(), _settings(project), names, {role: list(files) for role, files in hashes.items()}])


def plot_key(project: Project, site: Site) -> str:
    """Stands for all that a plot's files depend on, inputs by what is read of them; a Site tells which were given."""
    return _sha256([code_digest(), _settings(project), site_digest(site)])


def settings_hash(project: Project) -> str:
    """Stands for all settings but paths: the same settings on another machine are the same settings."""
    return _sha256([project.model_dump(mode="json", exclude=PATHS)])


def shown_settings(project: Project) -> dict[str, object]:
    """Every value the run used, defaults included, without the paths of this machine."""
    values: dict[str, object] = project.model_dump(mode="json", exclude=PATHS)
    return values


def _settings(project: Project) -> list[Any]:
    # That a fence line is given counts also where none of it lies on the plot.
    return [project.model_dump(mode="json", exclude=NOT_OF_A_PLOT), project.enclosure.fence_line is not None]


def _sha256(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()


def input_files(project: Project, inputs: Inputs) -> dict[str, tuple[Path, ...]]:
    """Every file that was or will be read, by the setting that names it, in the order of the settings."""
    given = project.inputs
    found = {"elevation": tuple(f for tile in near_elevation(project, inputs).tiles for f in tile.files)}
    vectors = {kind: getattr(given, kind) for kind in ("plots", "soil", "pits", "trees_and_boulders", *FEATURE_KINDS)}
    vectors["fence_line"] = project.enclosure.fence_line or project.enclosure.settled_line
    vectors["rates"] = project.rates.file
    return found | {role: files_of(path) for role, path in vectors.items() if path is not None}


def near_elevation(project: Project, inputs: Inputs) -> Elevation:
    """The elevation that plots of a run are read from: of a country's tiles those near them."""
    windows = [plot_reach(inputs, plot, project) for plot in inputs.plots]
    return inputs.elevation.touching(windows, CRS.from_user_input(inputs.crs))


def input_hashes(files: Mapping[str, Sequence[Path]], home: Path) -> dict[str, tuple[tuple[str, str], ...]]:
    """Name, relative to the folder ``home``, and check sum of the content of every file, by role."""
    hashes = {file: file_hash(file) for file in {f for of_role in files.values() for f in of_role}}
    return {role: tuple((relative(f, home), hashes[f]) for f in of_role) for role, of_role in files.items()}


def relative(file: Path, home: Path) -> str:
    """A file as seen from a folder: the same inputs in another place are the same inputs."""
    try:
        return Path(os.path.relpath(file.resolve(), home.resolve())).as_posix()
    except ValueError:  # on another drive
        return file.resolve().as_posix()


def file_hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@functools.cache
def code_digest() -> str:
    """Stands for every source file and table of this package, by content, and for the libraries below it."""
    home = Path(__file__).parents[1]
    total = hashlib.sha256(repr([version(name) for name in LIBRARIES]).encode())
    for file in sorted(f for f in home.rglob("*") if f.suffix in CODE):
        content = file.read_bytes()
        total.update(f"{file.relative_to(home).as_posix()}\0{len(content)}\0".encode() + content)
    return total.hexdigest()


def site_digest(site: Site) -> str:
    """Check sum of a site: equal if and only if every array, geometry and text in it is.

    It is taken over what was read and cut to the plot, not over files: a change elsewhere in a file changes nothing
    here. Every field counts without being named, so that none is forgotten when one is added.
    """
    total = hashlib.sha256()
    _add(site, total)
    return total.hexdigest()


class _Sum(Protocol):
    def update(self, data: bytes | memoryview, /) -> None: ...


def _add(value: Any, total: _Sum) -> None:
    """Add a value with its kind and length, so that no two different values look alike."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        _add_fields(value, total)
    elif isinstance(value, np.ndarray):
        _head(f"array {value.dtype.str} {value.shape}", value.nbytes, total)
        total.update(np.ascontiguousarray(value).data)
    elif isinstance(value, BaseGeometry):
        wkb: bytes = shapely.to_wkb(value, byte_order=1)
        _head("geometry", len(wkb), total)
        total.update(wkb)
    elif isinstance(value, Mapping):
        _head("mapping", len(value), total)
        for key in sorted(value):
            _add(key, total)
            _add(value[key], total)
    elif isinstance(value, tuple | list):
        _head("list", len(value), total)
        for one in value:
            _add(one, total)
    elif value is None or isinstance(value, str | bool | int | float | np.generic):
        text = repr(value.item() if isinstance(value, np.generic) else value).encode("utf-8", "surrogatepass")
        _head(type(value).__name__, len(text), total)
        total.update(text)
    else:
        raise TypeError(f"no check sum over {type(value).__name__}")


def _add_fields(value: "DataclassInstance", total: _Sum) -> None:
    """Add a dataclass field by field, but for what two equal ones may differ in."""
    fields = [f for f in dataclasses.fields(value) if f.compare]
    _head(type(value).__name__, len(fields), total)
    for field in fields:
        total.update(field.name.encode())
        _add(getattr(value, field.name), total)


def _head(kind: str, size: int, total: _Sum) -> None:
    total.update(f"<{kind} {size}>".encode())
