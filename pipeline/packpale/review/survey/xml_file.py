"""XML files: elements built, never text joined, so that every name is escaped; the same bytes every time."""

from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree as ET

Element = ET.Element


def child(parent: Element, tag: str, text: str | None = None, attributes: Mapping[str, str] | None = None) -> Element:
    """A new last child of an element."""
    element = ET.SubElement(parent, tag, dict(attributes or {}))
    element.text = text
    return element


def children(parent: Element, texts: Mapping[str, str]) -> None:
    """New last children of an element, each with its text."""
    for tag, text in texts.items():
        child(parent, tag, text)


def root(tag: str, attributes: Mapping[str, str], *, namespace: str, schema: str) -> Element:
    """A new element without a parent, in a namespace whose schema lies at an address."""
    of = {
        "xmlns": namespace,
        "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
        "xsi:schemaLocation": f"{namespace} {schema}",
    }
    return ET.Element(tag, {**attributes, **of})


def write(element: Element, path: Path) -> None:
    """Write a document: UTF-8, LF line ends, indented by one space."""
    ET.indent(element, " ")
    text = ET.tostring(element, encoding="unicode")
    path.write_bytes(f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode())


def decimal(value: float, digits: int) -> str:
    """A number with fixed decimals, never minus zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}"
