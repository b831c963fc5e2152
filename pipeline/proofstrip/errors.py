"""The two things that can go wrong on a user's side, and the shape of what is told without stopping."""

from dataclasses import dataclass
from pathlib import Path


class ProofstripError(Exception):
    """A fault that the user can mend; the message is one paragraph for a person."""

    exit_status = 1


class DataError(ProofstripError):
    """The data cannot give an answer: says where, what was found, what is allowed and what to do."""


class SettingsError(ProofstripError):
    """A settings file is wrong; holds every problem found, each with its line.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    problems : list of str
        One sentence each, starting with the line number where it is known.
    """

    exit_status = 2

    def __init__(self, path: Path, problems: list[str]) -> None:
        self.path, self.problems = path, problems
        head = f"{path}: {len(problems)} problem" + ("s" if len(problems) > 1 else "")
        super().__init__("\n  ".join([head, *problems]))


@dataclass(frozen=True)
class Notice:
    """Something the user should know although the run goes on.

    Attributes
    ----------
    code : str
        Short and stable, for programs: ``distance_derived``.
    message : str
        A full sentence, for people.
    """

    code: str
    message: str
