"""The season: find the trials, have each of them run, write the tables and the page."""

from collections.abc import Callable, Sequence

from proofstrip.season import store
from proofstrip.season.book import write_book
from proofstrip.season.crew import run_here, run_there
from proofstrip.season.outcome import Outcome, Task


def run_season(
    place: str,
    out: str,
    workers: int = 1,
    scheduler: str | None = None,
    rerun: bool = False,
    say: Callable[[Outcome, int], None] = lambda outcome, total: None,
) -> list[Outcome]:
    """Run every trial below a folder.

    Parameters
    ----------
    place, out : str
        Addresses of the folder of trials, and of the folder for their run folders, season.csv, season.json and
        index.html. What lies below ``out`` is no trial.
    workers : int
        Processes of this machine; so many trials are in memory at a time.
    scheduler : str, optional
        Address of a Dask scheduler, whose workers run them instead.
    rerun : bool
        Run trials that have not changed too.
    say : callable
        Told each outcome as it comes, and how many trials there are.

    Returns
    -------
    list of Outcome
        In the order of the trials' names.

    Raises
    ------
    DataError
        When there is no trial, or the season's own files cannot be written.

    Notes
    -----
    A trial of folder ``north/forty`` is written to ``north/forty`` below ``out``; that of the folder itself to
    ``trial``.
    """
    trials = store.find_trials(place, out)
    tasks = [
        Task(name, folder, store.join(out, "trial" if name == "." else name), rerun) for name, folder in trials.items()
    ]
    outcomes = run_here(tasks, workers) if scheduler is None else run_there(tasks, scheduler)
    done = {}
    for outcome in outcomes:
        done[outcome.name] = outcome
        say(outcome, len(tasks))
    ordered = [done[task.name] for task in tasks]
    write_book(ordered, out)
    return ordered


def failed(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Give the trials without a run of their present files."""
    return [outcome for outcome in outcomes if not outcome.has_run]
