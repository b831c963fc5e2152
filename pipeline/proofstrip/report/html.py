"""Every HTML page of the house is set here: one environment, everything escaped, nothing left undefined."""

from collections.abc import Mapping
from functools import cache
from typing import Any

import jinja2


@cache
def environment() -> jinja2.Environment:
    """Give the environment of all templates of the package.

    Returns
    -------
    jinja2.Environment
    """
    return jinja2.Environment(
        loader=jinja2.PackageLoader("proofstrip", ""),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


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
