"""The layers of a plot read back from its own file."""

from pathlib import Path
from typing import TYPE_CHECKING

from packpale.faults import Faults, damaged

if TYPE_CHECKING:
    import geopandas

PLOT_LAYERS = "layers.gpkg"
"""The layers of one plot, in its folder."""


def read_layer(path: Path, layer: str) -> "geopandas.GeoDataFrame":
    """A layer of a plot as it was written, in the order of its rows; without rows where there is none of that name.

    Raises Faults if the file cannot be read.
    """
    import geopandas
    import pyogrio

    if layer not in layer_names(path):
        return geopandas.GeoDataFrame({"plot_id": []}, geometry=[])
    return pyogrio.read_dataframe(path, layer=layer)


def layer_names(path: Path) -> set[str]:
    """Layers that a plot's file holds.

    Raises Faults if it cannot be read.
    """
    import pyogrio

    try:
        return set(pyogrio.list_layers(path)[:, 0])
    except pyogrio.errors.DataSourceError as error:
        raise Faults(damaged(path, error)) from error
