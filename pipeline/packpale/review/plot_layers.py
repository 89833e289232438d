"""The layers of a plot read back from its own file."""

from pathlib import Path
from typing import TYPE_CHECKING

from packpale.faults import Faults, damaged

if TYPE_CHECKING:
    import geopandas

PLOT_LAYERS = "layers.gpkg"
"""The layers of one plot, in its folder."""


SCREENED_LAYERS = ("plots", "fence_lines")
"""Layers of a plot that was only screened, each a FlatGeobuf of its name: a tenth of a GeoPackage's size."""


def read_layer(path: Path, layer: str) -> "geopandas.GeoDataFrame":
    """A layer of a plot as it was written, in the order of its rows; without rows where there is none of that name.

    ``path`` is that of its GeoPackage, beside which a plot that was only screened has others. Raises Faults if the
    file cannot be read.
    """
    import geopandas
    import pyogrio

    screened = not path.exists() and any(beside(path, name).exists() for name in SCREENED_LAYERS)
    if screened and not beside(path, layer).exists():
        return geopandas.GeoDataFrame({"plot_id": []}, geometry=[])
    try:
        # A layer is opened without a look at the list of all: that takes longer than to read it.
        return pyogrio.read_dataframe(beside(path, layer) if screened else path, layer=layer)
    except pyogrio.errors.DataLayerError:
        return geopandas.GeoDataFrame({"plot_id": []}, geometry=[])
    except pyogrio.errors.DataSourceError as error:
        raise Faults(damaged(path, error)) from error


def beside(path: Path, layer: str) -> Path:
    """File of a layer of a plot that was only screened."""
    return path.with_name(f"{layer}.fgb")


def layer_names(path: Path) -> set[str]:
    """Layers that a plot's file holds, or the files beside it.

    Raises Faults if it cannot be read.
    """
    import pyogrio

    if not path.exists() and (there := {name for name in SCREENED_LAYERS if beside(path, name).exists()}):
        return there
    try:
        return set(pyogrio.list_layers(path)[:, 0])
    except pyogrio.errors.DataSourceError as error:
        raise Faults(damaged(path, error)) from error
