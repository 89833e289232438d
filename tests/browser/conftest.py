"""A headless Chromium without a network."""

import os
import shutil

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)


def missing(what):
    """Skip on a user's machine; in continuous integration a missing browser is a failure."""
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(f"{what}; these checks must run here")
    pytest.skip(f"{what}; install it to open the pages for real")


@pytest.fixture(scope="session")
def chromium():
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    if program is None:
        missing(f"no browser found ({', '.join(NAMES)})")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("the package playwright is not installed")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=list(FLAGS))
        yield browser
        browser.close()


class Watched:
    """A page, and everything that went wrong on it."""

    def __init__(self, page):
        self.page, self.wrong, self.asked = page, [], []
        page.on("console", lambda m: self.wrong.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: self.wrong.append(str(e)))
        page.on("requestfailed", lambda r: self.wrong.append(f"failed: {r.url[:200]}"))
        page.on("request", lambda r: self.asked.append(r.url))
        page.on("dialog", lambda d: (self.wrong.append(f"dialog: {d.message}"), d.dismiss()))

    def open(self, file):
        self.page.goto(file.as_uri())
        return self.page


@pytest.fixture
def watched(chromium, request):
    """A watched page, as wide as a desktop's unless the test says otherwise; nothing may go wrong on it."""
    width, height = getattr(request, "param", (1280, 800))
    context = chromium.new_context(viewport={"width": width, "height": height})
    watched = Watched(context.new_page())
    yield watched
    context.close()
    assert watched.wrong == []
    assert all(url.startswith(("file:", "data:", "blob:")) for url in watched.asked)


@pytest.fixture(scope="session")
def fitting():
    """The plot whose files stand in the run's first folder."""
    from review import factory

    return factory.result()


@pytest.fixture(scope="session")
def run(tmp_path_factory, fitting):
    """Files of a run of two plots, one of them under a hostile name and one where nothing fits."""
    from review import factory

    plots = [factory.renamed(fitting, factory.HOSTILE), factory.nothing_fits(west=500_400.0)]
    folder = tmp_path_factory.mktemp("pages")
    factory.run_folder(folder, plots, factory.project(title=f"Estate {factory.HOSTILE}"))
    return folder
