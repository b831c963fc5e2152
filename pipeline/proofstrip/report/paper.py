"""The page on paper: report.html set as report.pdf by WeasyPrint, which is installed only by those who want it."""

import importlib
from pathlib import Path
from typing import Any

from proofstrip.errors import DataError
from proofstrip.report.html import verbatim

HOW = (
    "Install it with: pip install 'proofstrip[pdf]'. Without it, open report.html in a browser and print that to a PDF."
)


def find_weasyprint() -> Any:
    """Give WeasyPrint, before a run is begun that would need it at its end.

    Returns
    -------
    module

    Raises
    ------
    DataError
        When it, or Pango, which draws its text, is not installed: says how to install it.
    """
    try:
        return importlib.import_module("weasyprint")
    except ImportError as fault:
        raise DataError(f"A PDF is set by WeasyPrint, which is not installed ({fault}). {HOW}") from fault
    except OSError as fault:
        raise DataError(
            f"WeasyPrint is installed, but a library of the system that it draws with is not ({fault}). On Debian: "
            "apt-get install libpango-1.0-0 libpangoft2-1.0-0. Without it, print report.html from a browser."
        ) from fault


def write_pdf(folder: Path, paper: str) -> None:
    """Set report.html of a folder as report.pdf beside it.

    Parameters
    ----------
    folder : pathlib.Path
        Holds report.html.
    paper : str
        ``letter`` or ``a4``.

    Raises
    ------
    DataError
        When WeasyPrint is not installed.
    """
    weasyprint = find_weasyprint()
    styles = [f"@page {{ size: {paper}; }}", str(verbatim("report/paper.css"))]
    page = weasyprint.HTML(filename=str(folder / "report.html"), url_fetcher=_refuse_addresses(weasyprint))
    page.write_pdf(str(folder / "report.pdf"), stylesheets=[weasyprint.CSS(string=style) for style in styles])


def _refuse_addresses(weasyprint: Any) -> Any:
    """Give a fetcher that knows only what is inside the page: nothing that a file names is ever loaded."""
    return weasyprint.urls.URLFetcher(allowed_protocols=["data"])
