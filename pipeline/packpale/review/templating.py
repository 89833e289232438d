"""Pages from the templates of this room; every value that goes in is escaped."""

import functools
from typing import Any


@functools.cache
def _environment() -> Any:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.PackageLoader("packpale", "review"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render(template: str, **values: Any) -> str:
    """The template filled with values.

    Raises jinja2.UndefinedError if it asks for one that is not given.
    """
    return str(_environment().get_template(template).render(**values))
