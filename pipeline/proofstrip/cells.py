"""Texts in CSV cells: a spreadsheet takes a name that starts with ``=`` for a formula and may act on it."""

import re

import pandas as pd

# OWASP, CSV Injection: cells that start with one of these are read as formulas; an apostrophe before them makes a text.
FORMULA = re.compile(r"'*[=+\-@\t\r]")
# They steer a terminal instead of being shown.
CONTROLS = re.compile(r"[\x00-\x1f\x7f-\x9f]")
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def guard(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula; numbers are none.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> guard("=1+1"), guard("+ lime"), guard("-5"), guard("control")
    ("'=1+1", "'+ lime", '-5', 'control')
    """
    return f"'{text}" if FORMULA.match(text) and not NUMBER.fullmatch(text) else text


def unguard(text: str) -> str:
    """Take the apostrophe of ``guard`` off again.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> unguard(guard("'=1+1")), unguard("'quoted'")
    ("'=1+1", "'quoted'")
    """
    return text[1:] if text.startswith("'") and FORMULA.match(text) else text


def guard_frame(table: pd.DataFrame) -> pd.DataFrame:
    """Guard every text of a table.

    Parameters
    ----------
    table : pandas.DataFrame

    Returns
    -------
    pandas.DataFrame
        With the same columns; those of numbers unchanged.
    """
    texts = [name for name in table.columns if not pd.api.types.is_numeric_dtype(table[name])]
    guarded = {
        name: table[name].astype("object").map(lambda cell: guard(cell) if isinstance(cell, str) else cell)
        for name in texts
    }
    return table.assign(**guarded)
