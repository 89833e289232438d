"""Drawings read back from their files, by a reader that knows nothing of how they were drawn."""

import re

import numpy as np
from defusedxml.ElementTree import parse

SVG = "{http://www.w3.org/2000/svg}"


class Paper:
    """An SVG read back as millimetres of paper, y up from the lower edge."""

    def __init__(self, file):
        self.root = parse(file).getroot()
        width, height = (float(self.root.get(k).removesuffix("mm")) for k in ("width", "height"))
        box = [float(v) for v in self.root.get("viewBox").split()]
        assert box[:2] == [0, 0]
        self.size, self.unit = (width, height), (width / box[2], height / box[3])
        self.paths = {p.get("id"): p for p in self.root.iter(f"{SVG}path") if p.get("id")}
        self.lines = [name for name, path in self.paths.items() if path.get("stroke")]
        self.texts = [g.get("aria-label") for g in self.root.iter(f"{SVG}g")]

    def points(self, name):
        numbers = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", self.paths[name].get("d"))
        x, y = np.array(numbers, float).T
        return np.column_stack([x * self.unit[0], self.size[1] - y * self.unit[1]])

    def length(self, name):
        return float(np.hypot(*np.diff(self.points(name), axis=0).T).sum())

    def scales(self):
        """Numbers after "1:" in the title block."""
        (text,) = (t for t in self.texts if t.startswith("1:"))
        return [float(n.replace(",", "")) for n in re.findall(r"1:([\d,]+[\d.]*)", text)]
