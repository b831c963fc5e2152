"""``proofstrip pool``: one effect over many trials and seasons."""

import json
from pathlib import Path
from typing import Any

import click

from proofstrip.config import load_defaults
from proofstrip.pool.answer import PoolSettings, pool_sites
from proofstrip.pool.choose import choose_sites
from proofstrip.pool.files import describe, gather_sites, read_prices, write_pool
from proofstrip.pool.prices import price_pooled, price_sites


@click.command()
@click.argument("sources", metavar="RUN_DIR...", nargs=-1, required=True)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Pool folder; by default pool/. With --json nothing is written unless it is named.",
)
@click.option(
    "--covariate", metavar="NAME", help="Regress on moisture_pct, control_yield_kg_ha or a column of the table."
)
@click.option("--pool-variance", is_flag=True, help="One scatter for all: for trials of few pairs, alike in scatter.")
@click.option(
    "--economics",
    metavar="FILE.toml",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Price all trials by its [economics] part, not each by its own.",
)
@click.option("--crop", metavar="NAME", help="Keep its trials only; default: the crop of most trials.")
@click.option("--control", metavar="NAME", help="Keep trials against it only; default: the control of most trials.")
@click.option(
    "--confidence", type=click.FloatRange(0.5, 1, min_open=True, max_open=True), help="Of every interval; default 0.90."
)
@click.option("--units", type=click.Choice(["us", "metric"]), help="Of the page and the sentences; default us.")
@click.option("--json", "as_json", is_flag=True, help="Print only JSON.")
def pool(sources: tuple[str, ...], out: Path | None, as_json: bool, **choices: Any) -> None:
    """Pool many trials into one answer: run folders, tables of trials (CSV), patterns of either."""
    defaults, folder = load_defaults(), out or Path("pool")
    gathered = gather_sites(sources, folder)
    chosen = choose_sites(gathered, choices["crop"], choices["control"])
    prices = None if choices["economics"] is None else read_prices(choices["economics"], chosen)
    chosen = chosen if prices is None else price_sites(chosen, prices)
    settings = PoolSettings(
        choices["confidence"] or defaults.stats.confidence,
        defaults.stats.power,
        choices["covariate"],
        choices["pool_variance"],
        prices.source.name if prices else "",
    )
    result = pool_sites(chosen, settings)
    result = result if prices is None else price_pooled(result, prices)
    system = choices["units"] or defaults.report.units
    answer = describe(result, system)[0] if as_json and out is None else write_pool(result, system, folder)
    if as_json:
        click.echo(json.dumps(answer, indent=2, ensure_ascii=False))
        return
    for row in answer["left_out"]:
        click.echo(f"left out: {row['trial']} ({row['source']}): {row['reason']}", err=True)
    for notice in answer["warnings"]:
        click.echo(f"warning: {notice['message']}", err=True)
    for row in answer["treatments"]:
        click.echo(" ".join(filter(None, [row["verdict"]["sentence"], row["verdict"]["next_season"]])))
    click.echo(f"Pool: {folder / 'pool.html'}")
