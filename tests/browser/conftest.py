"""A real browser, with the network off: Debian's chromium, driven by Playwright, judged by axe-core.

Where one of them is missing the tests skip and say which. ``PROOFSTRIP_BROWSER=1`` (as .ci/run sets) makes that a
failure instead.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from importlib import resources, util
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), ""
)
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update")
HARMFUL = ("serious", "critical")


def missing() -> str:
    """Name what is not installed."""
    packages = [name for name in ("playwright", "axe_playwright_python", "weasyprint") if util.find_spec(name) is None]
    return ", ".join([*packages, *([] if CHROMIUM else ["chromium"])])


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """The browser, started once."""
    if missing():
        how = "pip install 'proofstrip[browser,pdf]', apt-get install chromium"
        message = f"no browser tests: {missing()} not installed ({how})"
        if os.environ.get("PROOFSTRIP_BROWSER"):
            pytest.fail(message)
        pytest.skip(message)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture
def open_page(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open a page from disk with the network off; whatever it complains about or asks for fails the test."""
    heard: list[str] = []
    contexts = []

    def open_one(path: Path, width: int = 1280, height: int = 900, **options: Any) -> Any:
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        context.set_offline(True)
        page = context.new_page()
        page.on("console", lambda message: heard.append(f"console {message.type}: {message.text}"))
        page.on("pageerror", lambda error: heard.append(f"error: {error}"))
        page.on("dialog", lambda dialog: (heard.append(f"dialog: {dialog.message}"), dialog.dismiss()))
        page.on(
            "request", lambda request: request.url.startswith(("file:", "data:", "blob:")) or heard.append(request.url)
        )
        page.goto(path.resolve().as_uri())
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert heard == []


def find_faults(page: Any) -> list[str]:
    """Give what axe-core calls serious or critical, with the place."""
    page.evaluate(resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8"))
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{fault['id']}: {node['html'][:120]}"
        for fault in found["violations"]
        if fault["impact"] in HARMFUL
        for node in fault["nodes"]
    ]


A4_PX = 673  # 210 mm less margins of 16 mm on either side, at 96 dots an inch: narrower than letter


def paper_overhang(page: Any) -> float:
    """Give how far the printed page reaches beyond the paper [px]."""
    page.emulate_media(media="print")
    page.set_viewport_size({"width": A4_PX, "height": 950})
    return overhang(page)


def overhang(page: Any) -> float:
    """Give how far the page reaches beyond the window's right edge [px]."""
    return float(page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth"))
