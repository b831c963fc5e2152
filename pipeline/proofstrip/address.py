"""Where files of an archive or a season lie: a folder here, or any address that fsspec knows."""

from typing import Any

import fsspec

from proofstrip.errors import DataError


def open_address(address: str) -> tuple[Any, str]:
    """Find the file system of an address.

    Parameters
    ----------
    address : str
        A folder, or an address such as ``s3://bucket/trials``.

    Returns
    -------
    tuple of fsspec.AbstractFileSystem and str
        With the path in it.

    Raises
    ------
    DataError
        When the address is of an unknown kind, or its package is not installed.
    """
    try:
        files, root = fsspec.core.url_to_fs(address)
    except (ValueError, ImportError) as fault:
        raise DataError(
            f"{address} cannot be opened: {fault}. Name a folder or an address that fsspec knows; object stores need "
            "their package, such as s3fs for s3:// and gcsfs for gs://."
        ) from fault
    return files, str(root)
