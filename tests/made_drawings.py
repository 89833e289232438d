"""Drawings (DXF) for the tests, written as the reference of the format has it."""


def pair(code, value):
    """A group of a drawing: its code and its value, each on a line of its own (DXF reference, ASCII form)."""
    return f"{code}\n{value}\n"


def polyline(layer, points, *, closed=True):
    """A light polyline: bit 1 of group 70 closes it."""
    corners = "".join(pair(10, x) + pair(20, y) for x, y in points)
    return pair(0, "LWPOLYLINE") + pair(8, layer) + pair(90, len(points)) + pair(70, int(closed)) + corners


def old_polyline(layer, points):
    """The older kind, each corner an entity of its own."""
    corners = "".join(pair(0, "VERTEX") + pair(8, layer) + pair(10, x) + pair(20, y) for x, y in points)
    return pair(0, "POLYLINE") + pair(8, layer) + pair(66, 1) + pair(70, 1) + corners + pair(0, "SEQEND")


def text(x, y, words):
    return pair(0, "TEXT") + pair(8, "NAMES") + pair(10, x) + pair(20, y) + pair(40, 2.5) + pair(1, words)


def drawing(*entities):
    return pair(0, "SECTION") + pair(2, "ENTITIES") + "".join(entities) + pair(0, "ENDSEC") + pair(0, "EOF")
