"""Templates: compiled ahead with all that they take in."""

import jinja2
import pytest

from packpale.review import templating


def test_a_template_is_loaded_with_all_that_it_takes_in(monkeypatch):
    templating._environment.cache_clear()
    templating.load("pages/page.html")

    def compiled_late(_self, _source, name=None, *_):
        raise AssertionError(f"{name} is compiled when it is used")

    monkeypatch.setattr(jinja2.Environment, "compile", compiled_late)
    for name in ("pages/page.html", "pages/page.css", "pages/blocks.html", "pages/scrolling.js"):
        assert templating._environment().get_template(name).name == name
    with pytest.raises(AssertionError, match=r"panel\.html"):
        templating._environment().get_template("maps/panel.html")
