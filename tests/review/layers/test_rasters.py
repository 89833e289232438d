"""Rasters: layout of a cloud-optimised GeoTIFF as GDAL reports it, and the values in it."""

import numpy as np
import pytest
import rasterio

from packpale.review.layers.rasters import Raster, write_cog
from packpale.site import Grid
from review import factory

NAMES = ("slope_deg.tif", "wetness.tif", "ponding_m.tif", "diggability.tif", "suitability.tif")


@pytest.mark.parametrize("name", NAMES)
def test_every_raster_is_cloud_optimised_and_placed(run, name):
    grid = run.plots[0].site.grid
    with rasterio.open(run.folder / "plots/plot-0" / name) as file:
        # GDAL's COG driver reads this mark back only if the layout of the file bears it out.
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.compression.value == "DEFLATE"
        assert file.crs == rasterio.crs.CRS.from_user_input(factory.CRS)
        assert (file.transform.a, file.transform.c, file.transform.e, file.transform.f) == (
            grid.cell,
            grid.west,
            -grid.cell,
            grid.north,
        )
        assert file.nodata is not None
        assert file.dtypes == ("float32",)
        assert file.shape == grid.shape


def test_values_and_missing_cells_come_back(run):
    land = run.plots[0].land
    with rasterio.open(run.folder / "plots/plot-0/slope_deg.tif") as file:
        back = file.read(1, masked=True)
    expected = np.degrees(np.arctan(land.slope))
    assert np.isnan(expected).any()
    np.testing.assert_array_equal(np.ma.getmaskarray(back), np.isnan(expected))
    np.testing.assert_allclose(back.filled(0), np.nan_to_num(expected), rtol=1e-6)


def test_a_large_raster_is_tiled_and_has_overviews(tmp_path):
    values = np.random.default_rng(1).normal(size=(1100, 900))
    values[:40] = np.nan
    grid = Grid(5e5, 5e6, 1.0, *values.shape)
    write_cog(tmp_path / "large.tif", Raster(values, "metre"), grid, crs="EPSG:32632")
    with rasterio.open(tmp_path / "large.tif") as file:
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.block_shapes == [(256, 256)]
        # Halved until the whole raster fits into one tile.
        assert file.overviews(1) == [2, 4, 8]
        assert file.units == ("metre",)
        assert file.descriptions == ("large",)
        np.testing.assert_array_equal(file.read(1)[100:], values[100:].astype(np.float32))


def test_a_small_raster_has_no_overviews(tmp_path):
    for side, overviews in ((512, []), (513, [2])):
        grid = Grid(5e5, 5e6, 1.0, 300, side)
        write_cog(tmp_path / "small.tif", Raster(np.ones(grid.shape), "metre"), grid, crs="EPSG:32632")
        with rasterio.open(tmp_path / "small.tif") as file:
            assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
            assert file.overviews(1) == overviews
