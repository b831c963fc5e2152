"""An archive: finished trials with their raw files, written once, never changed, readable without this program."""

from proofstrip.archive.build import Archived, archive_run
from proofstrip.archive.store import Store, open_store
from proofstrip.archive.verify import Finding, Verified, verify_archive

__all__ = ["Archived", "Finding", "Store", "Verified", "archive_run", "open_store", "verify_archive"]
