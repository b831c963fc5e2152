"""``proofstrip payback``: economics alone, from a yield gain that is already known."""

import dataclasses
import json
from pathlib import Path
from typing import Any

import click

from proofstrip.economics import Payback, price_gain
from proofstrip.economics.words import write_page
from proofstrip.payback_file import PaybackPart
from proofstrip.pool.gain import price_pool_file
from proofstrip.result import plain
from proofstrip.toml_file import read_toml, validate


@click.command()
@click.argument("payback_file", metavar="PAYBACK.toml", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print only JSON.")
def payback(payback_file: Path, as_json: bool) -> None:
    """Price a yield gain, known or pooled: budget, break-even acres, pay-back time and worth over the life."""
    text, written = read_toml(payback_file)
    priced, head, prices = (price_pool_file if "pool" in written else price_known)(text, written, payback_file)
    page = json.dumps(plain(dataclasses.asdict(priced)), indent=2) if as_json else write_page(priced, head, prices)
    click.echo(page)


def price_known(text: str, written: dict[str, Any], path: Path) -> tuple[Payback, str, int]:
    """Price the gain that the file gives; with the first line of its page, and how many prices were given."""
    part = validate(PaybackPart, written, path, text)
    gain, low, high = part.gains_kg_ha
    priced = price_gain(gain, part.crop, part.economics, low, high, part.beside)
    said = part.gain + (f" ({part.gain_low} to {part.gain_high})" if part.gain_low else "")
    return priced, f"{part.crop.name.replace('_', ' ')}, gain {said}", len(part.economics.price.sums)
