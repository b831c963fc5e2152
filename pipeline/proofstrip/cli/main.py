"""The command group, and how a fault reaches the user: one paragraph, never a traceback."""

import sys

import click

from proofstrip import __version__
from proofstrip.cli.archive import archive, verify
from proofstrip.cli.counting_sheet import counting_sheet
from proofstrip.cli.inspect import inspect
from proofstrip.cli.layout import layout
from proofstrip.cli.payback import payback
from proofstrip.cli.pool import pool
from proofstrip.cli.run import run
from proofstrip.cli.season import season
from proofstrip.cli.simulate import simulate
from proofstrip.cli.start import start
from proofstrip.cli.stats import stats
from proofstrip.errors import ProofstripError


class Group(click.Group):
    """Turns the user's faults into one paragraph and an exit status."""

    def invoke(self, ctx: click.Context) -> object:
        """Run the command."""
        try:
            return super().invoke(ctx)
        except ProofstripError as fault:
            click.echo(f"proofstrip: {fault}", err=True)
            sys.exit(fault.exit_status)


@click.group(cls=Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="proofstrip")
def main() -> None:
    """From combine records of replicated strip trials to an answer that holds up."""


main.add_command(archive)
main.add_command(counting_sheet)
main.add_command(inspect)
main.add_command(layout)
main.add_command(payback)
main.add_command(pool)
main.add_command(run)
main.add_command(season)
main.add_command(simulate)
main.add_command(start)
main.add_command(stats)
main.add_command(verify)
