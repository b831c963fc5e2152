"""``proofstrip archive`` and ``verify``: finished trials put by for years, and looked through."""

from pathlib import Path

import click

from proofstrip.archive import archive_run, open_store, verify_archive
from proofstrip.errors import DataError


@click.command()
@click.argument("runs", metavar="RUN_DIR...", nargs=-1, required=True, type=click.Path(file_okay=False, path_type=Path))
@click.option(
    "--to", "address", metavar="ARCHIVE", required=True, help="A folder, or an address such as s3://bucket/trials."
)
def archive(runs: tuple[Path, ...], address: str) -> None:
    """Put finished runs with their raw files into an archive; what it holds is never changed."""
    store = open_store(address)
    for run in runs:
        done = archive_run(run, store)
        if done.written:
            after = f", after {done.earlier}" if done.earlier else ""
            click.echo(f"archived: {address}/{done.folder} (version {done.version}{after})")
        else:
            click.echo(f"archived before: {address}/{done.folder} holds this run; nothing was written")


@click.command()
@click.argument("address", metavar="ARCHIVE")
@click.option("--rerun", is_flag=True, help="Run each trial again from its own raw files and settings, and compare.")
def verify(address: str, rerun: bool) -> None:
    """Look through an archive: every hash, every layer; name what is damaged, missing or extra."""
    done = verify_archive(open_store(address), rerun, lambda text: click.echo(f"{text} ...", err=True))
    for finding in done.findings:
        click.echo(str(finding))
    if done.findings:
        raise DataError(f"{address}: {len(done.findings)} things are not as they were archived, in {done.items} items.")
    again = ", each trial run again with the same result" if rerun else ""
    click.echo(f"{address}: {done.items} items, {done.files} files, all as they were archived{again}")
