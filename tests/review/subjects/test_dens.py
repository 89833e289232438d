"""Places for dens in the GeoPackage, on the map and on the page, compared with what was computed."""

import fiona
import pytest
from shapely.geometry import shape

from packpale.review.maps.people_layers import den_layer
from review import factory, html_pages


def test_layer_of_the_geopackage(run, fitting):
    with fiona.open(run.folder / "packpale.gpkg", layer="dens") as layer:
        rows = [f for f in layer if f.properties["plot_id"] == fitting.site.plot_id]
    dens = fitting.care.dens
    assert dens
    assert len(rows) == len(dens)
    (pack,) = fitting.enclosure.packs
    for row, den in zip(rows, dens, strict=True):
        at = shape(row.geometry)
        assert (at.x, at.y) == pytest.approx((den.x, den.y))
        assert pack.line.polygon().contains(at)
        assert row.properties["to_fence_m"] == pytest.approx(pack.line.polygon().exterior.distance(at), abs=0.02)
        assert row.properties["to_dwellings_m"] == pytest.approx(
            fitting.site.features["dwellings"][0].distance(at), abs=1e-6
        )
        # No viewpoints are among the inputs.
        assert row.properties["to_viewpoints_m"] is None
        assert row.properties["degree_drainage"] == pytest.approx(den.degrees["drainage"])
        assert row.properties["build"] == den.passage.build


def test_map_and_page_tell_the_sites(run, fitting):
    layer = den_layer(factory.map_source(fitting))
    assert [s.label for s in layer.shapes] == [f"den {d.rank}" for d in fitting.care.dens]
    text = html_pages.read(run.folder / "plots/plot-0/index.html").text
    assert "Places for dens" in text
    for den in fitting.care.dens:
        passage = den.passage
        assert f"{passage.length:.2f} m {passage.fall:.2f} m {passage.roof:.2f} m" in text


def test_no_dens_no_table(tmp_path):
    settings = factory.project(dens={"count": 0})
    result = factory.result(settings=settings)
    assert result.care.dens == ()
    factory.run_folder(tmp_path, [result], settings)
    assert "Places for dens" not in html_pages.read(tmp_path / "plots/plot-0/index.html").text
