"""The gate sheet on a plot's page and in its layers, against what the room found."""

import fiona
import pytest

from packpale.review.report.gates import gate_sheet
from review import factory
from review.factory import SAID


def test_every_leaf_stands_on_the_page_and_in_the_layer(run):
    plot = run.plots[0]
    leaves = plot.earthworks.gates
    assert len(leaves) >= 2
    section = gate_sheet(factory.source(plot))
    (table,) = [block for block in section.blocks if block.kind == "table"]
    assert len(table.rows) == len(leaves)
    for row, leaf in zip(table.rows, leaves, strict=True):
        said = [factory.words_of(cell) for cell in row]
        assert said[0].endswith(f"{leaf.gate}, {leaf.place}, leaf {leaf.leaf}")
        assert SAID.dimension(leaf.gap) in said
        assert leaf.swing in said
    worst = max(leaves, key=lambda g: g.gap)
    assert f"The greatest gap below a shut leaf is {SAID.dimension(worst.gap)}" in factory.words_of(section)
    assert factory.source(plot).file("drawings.pdf") in [piece.to for piece in section.blocks[0].words]
    with fiona.open(run.folder / "packpale.gpkg", layer="gate_leaves") as file:
        rows = [r for r in file if r.properties["plot_id"] == plot.site.plot_id]
    assert [r.properties["gap_m"] for r in rows] == [pytest.approx(g.gap) for g in leaves]
    assert [r.geometry.coordinates for r in rows] == [pytest.approx((g.x, g.y)) for g in leaves]
