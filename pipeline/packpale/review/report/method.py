"""How each figure is computed, in words, with its formula and its source."""

from packpale.review.report.blocks import Section, paragraph, table
from packpale.values.table import rows_of


def method_section() -> Section:
    """All of them as a table, from values/methods.csv."""
    heads = (("Figure", "name"), ("How it is computed", "words"), ("Formula", "words"), ("Source", "words"))
    rows = [row.values() for row in rows_of("methods.csv")]
    told = paragraph("Own means that no source was followed: the code and its tests are the reference.")
    made = table("How each figure is computed", heads, rows)
    return Section("How each figure is computed", (made, told), "basis.html#method")
