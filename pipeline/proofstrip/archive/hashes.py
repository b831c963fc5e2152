"""Hashes of files: SHA-256 in hexadecimal, and as the multihash that STAC's file extension asks for."""

import hashlib
from typing import IO

# Multihash (multiformats.io): code of sha2-256 and length of 32 bytes in front of the digest.
SHA256_CODE = "1220"


def hash_stream(stream: IO[bytes]) -> tuple[str, int]:
    """Hash what a stream holds.

    Parameters
    ----------
    stream : file-like
        Of bytes.

    Returns
    -------
    tuple of str and int
        SHA-256 and size [bytes].
    """
    digest, size = hashlib.sha256(), 0
    while block := stream.read(1 << 20):
        digest.update(block)
        size += len(block)
    return digest.hexdigest(), size


def to_multihash(sha256: str) -> str:
    """Write a SHA-256 as a multihash.

    Parameters
    ----------
    sha256 : str

    Returns
    -------
    str

    Examples
    --------
    >>> to_multihash("ab" * 32)[:8]
    '1220abab'
    """
    return SHA256_CODE + sha256


def from_multihash(multihash: str) -> str:
    """Take the SHA-256 out of a multihash; another kind of hash is given back as it stands.

    Parameters
    ----------
    multihash : str

    Returns
    -------
    str
    """
    return multihash.removeprefix(SHA256_CODE)
