"""Print every column of every layer and table, as outputs/README.md has them."""

import sys
from collections.abc import Iterator

from packpale.review.subjects import LAYERS, TABLES
from packpale.review.subjects.field import Subject

HEAD = """# Columns of what a run writes

Made by `python -m packpale.review.subjects`. Files are always metric, coordinates in the run's CRS. A cell is empty
where nothing is known.
"""


def columns_page() -> str:
    """All of it as Markdown."""
    lines = [HEAD, "## Tables", ""]
    for table in TABLES:
        lines += _subject(table)
    lines += ["`alternatives.csv` has the columns of the layer `alternatives`.", "", "## Layers of packpale.gpkg", ""]
    for layer in LAYERS:
        lines += _subject(layer)
    return "\n".join(lines)


def _subject(subject: Subject) -> Iterator[str]:
    yield f"### {subject.name}"
    yield ""
    yield f"{subject.title}{f' ({subject.geometry})' if subject.geometry else ''}."
    yield ""
    yield "| column | what | unit |"
    yield "|---|---|---|"
    for field in subject.fields:
        yield f"| `{field.key}` | {field.title} | {field.unit} |"
    yield ""


if __name__ == "__main__":
    sys.stdout.write(columns_page())
