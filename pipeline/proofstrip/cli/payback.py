"""``proofstrip payback``: economics alone, from a yield gain that is already known."""

import dataclasses
import json
from pathlib import Path

import click

from proofstrip.economics import Payback, price_gain
from proofstrip.economics.words import write_page
from proofstrip.payback_file import PaybackPart
from proofstrip.result import plain
from proofstrip.toml_file import read_toml, validate


@click.command()
@click.argument("payback_file", metavar="PAYBACK.toml", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print only JSON.")
def payback(payback_file: Path, as_json: bool) -> None:
    """Price a yield gain: budget, break-even acres, pay-back time and worth over the life."""
    text, written = read_toml(payback_file)
    part = validate(PaybackPart, written, payback_file, text)
    gain, low, high = part.gains_kg_ha
    priced = price_gain(gain, part.crop, part.economics, low, high, part.beside)
    click.echo(json.dumps(plain(dataclasses.asdict(priced)), indent=2) if as_json else tell(priced, part))


def tell(priced: Payback, part: PaybackPart) -> str:
    """Write the page that a person reads."""
    gain = part.gain + (f" ({part.gain_low} to {part.gain_high})" if part.gain_low else "")
    return write_page(priced, f"{part.crop.name.replace('_', ' ')}, gain {gain}", len(part.economics.price.sums))
