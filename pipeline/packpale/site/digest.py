"""A check sum over everything a plot's files depend on of the inputs."""

import dataclasses
import hashlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from packpale.site.model import Site

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


class _Sum(Protocol):
    def update(self, data: bytes | memoryview, /) -> None: ...


def digest(site: Site) -> str:
    """Check sum of a site: equal if and only if every array, geometry and text in it is.

    It is taken over what was read and cut to the plot, not over files: a change elsewhere in a file changes nothing
    here. Every field counts without being named, so that none is forgotten when one is added.
    """
    total = hashlib.blake2b(digest_size=32)
    _add(site, total)
    return total.hexdigest()


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
