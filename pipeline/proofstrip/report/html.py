"""Every HTML page of the house is set here: one environment, everything escaped, nothing left undefined."""

import base64
import hashlib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup


@cache
def environment() -> jinja2.Environment:
    """Give the environment of all templates of the package.

    Returns
    -------
    jinja2.Environment
    """
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("proofstrip", ""),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["verbatim"] = verbatim
    return made


def verbatim(name: str) -> Markup:
    """Give a style or script of the package as it stands, neither filled nor escaped.

    Parameters
    ----------
    name : str
        Its path inside the package, ``report/explore.js``.

    Returns
    -------
    markupsafe.Markup
    """
    text = resources.files("proofstrip").joinpath(name).read_text(encoding="utf-8")
    return Markup(text)  # a file of the package, never text of a user


def page_scripts(wanted: Mapping[str, bool]) -> list[Markup]:
    """Load the scripts that a page needs.

    Parameters
    ----------
    wanted : mapping of str to bool
        A script's path inside the package -> whether the page has a use for it.

    Returns
    -------
    list of markupsafe.Markup
    """
    return [verbatim(name) for name, needed in wanted.items() if needed]


def script_policy(scripts: Sequence[str]) -> str:
    """Write a content security policy: no network at all, and no script but these, letter by letter.

    Parameters
    ----------
    scripts : sequence of str

    Returns
    -------
    str

    Examples
    --------
    >>> script_policy([])
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'none'"

    References
    ----------
    Content Security Policy Level 3 (W3C), section 2.3.1, hash-source.
    """
    digests = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii") for script in scripts]
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests) or "'none'"
    return f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src {allowed}"


def fill_template(name: str, values: Mapping[str, Any]) -> str:
    """Fill a template.

    Parameters
    ----------
    name : str
        Its path inside the package, ``report/template.html``.
    values : mapping of str to object
        What the template names.

    Returns
    -------
    str
        HTML; text from files is escaped.
    """
    return environment().get_template(name).render(values).lstrip()
