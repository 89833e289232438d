"""Reading an HTML page the way a browser takes it in: what it would load, which texts and headings it has."""

import re
from html.parser import HTMLParser

LOADS = {"src", "href", "srcset", "data", "poster", "action", "background", "xlink:href"}
VOID = {"meta", "link", "br", "img", "input", "hr", "line", "circle", "rect", "path"}


class Page(HTMLParser):
    """Elements, texts and everything that names another resource."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements, self.links, self.texts, self.styles = [], [], [], []
        self._open = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        self.elements.append((tag, attributes))
        self.links += [(tag, name, value) for name, value in attributes.items() if name in LOADS and value]
        self.styles.append(attributes.get("style") or "")
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag):
        if tag in self._open:
            while self._open.pop() != tag:
                pass

    def handle_data(self, data):
        inside = self._open[-1] if self._open else ""
        if inside == "style":
            self.styles.append(data)
        elif inside != "script":
            self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())

    def loaded(self):
        """What a browser fetches by itself when it opens the page."""
        fetched = [v for tag, name, v in self.links if not (tag == "a" and name == "href")]
        return fetched + [u for style in self.styles for u in re.findall(r"url\(\s*['\"]?([^'\")]+)", style)]

    def imports(self):
        return [style for style in self.styles if "@import" in style]

    def named(self, tag):
        return [attributes for name, attributes in self.elements if name == tag]


def read(path):
    return Page(path.read_text(encoding="utf-8"))
