"""ZIP archives: unpacked into a folder of their own, never beyond it and never without end."""

import stat
import zipfile
import zlib
from pathlib import Path, PurePosixPath

from proofstrip.errors import DataError

MARKS = (b"PK\x03\x04", b"PK\x05\x06")
# A season of raw files of one farm fits into these (common practice, no source).
MAX_MEMBERS = 10_000
MAX_BYTES = 4_000_000_000
# Tables of numbers shrink to a tenth or, with columns that never change, to a hundredth; what shrinks further and is
# large is made to fill a disk (a stream of zeros shrinks to a thousandth, the most that deflate can do).
MAX_RATIO = 200
FREE_BYTES = 50_000_000
BLOCK = 1 << 20
# What other programs put into archives beside the files.
LITTER = ("__MACOSX", ".DS_Store", "Thumbs.db", "desktop.ini")


def is_zip(path: Path) -> bool:
    """Tell whether a file's first bytes are those of a ZIP archive."""
    with path.open("rb") as stream:
        return stream.read(4) in MARKS


def unpack(path: Path, folder: Path) -> list[Path]:
    """Unpack an archive.

    Parameters
    ----------
    path : pathlib.Path
    folder : pathlib.Path
        Empty; gets the files.

    Returns
    -------
    list of pathlib.Path
        The files, by name.

    Raises
    ------
    DataError
        When a member would land outside the folder, is a link, is encrypted or damaged, stands twice, or when all
        together are more than the stated size.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = [one for one in archive.infolist() if not one.is_dir() and not _is_litter(one.filename)]
            _check_members(path, members)
            budget = min(MAX_BYTES, max(FREE_BYTES, MAX_RATIO * path.stat().st_size))
            for member in members:
                budget -= _unpack_one(path, archive, member, folder, budget)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as fault:
        said = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
        raise DataError(
            f"{path.name}: cannot be unpacked ({said}); make the archive again, or unpack it and name its files."
        ) from fault
    except OSError as fault:
        raise DataError(f"{path.name}: cannot be unpacked into {folder}: {fault.strerror or fault}.") from fault
    return sorted(file for file in folder.rglob("*") if file.is_file())


def _is_litter(name: str) -> bool:
    """Tell whether a member is no file of the user's."""
    return any(part in LITTER or part.startswith("._") for part in PurePosixPath(name).parts)


def _check_members(path: Path, members: list[zipfile.ZipInfo]) -> None:
    """Refuse an archive by what it says of itself; what it says is not trusted when it is unpacked."""
    if len(members) > MAX_MEMBERS:
        raise DataError(f"{path.name}: the archive holds {len(members):,} files; at most {MAX_MEMBERS:,} are unpacked.")
    seen: set[str] = set()
    for member in members:
        name = member.filename
        parts = PurePosixPath(name.replace("\\", "/")).parts
        if name.startswith(("/", "\\")) or ".." in parts or ":" in name or not name.isprintable():
            raise DataError(
                f"{path.name}: member {name[:80]!r} names a place outside the archive; nothing of it is unpacked. "
                "Unpack it yourself if you trust it."
            )
        if stat.S_ISLNK(member.external_attr >> 16):
            raise DataError(f"{path.name}: member {name[:80]!r} is a link; nothing of the archive is unpacked.")
        if name.casefold() in seen:
            raise DataError(f"{path.name}: member {name[:80]!r} stands twice; make the archive again.")
        seen.add(name.casefold())


def _unpack_one(path: Path, archive: zipfile.ZipFile, member: zipfile.ZipInfo, folder: Path, budget: int) -> int:
    """Unpack one member block by block, and give its true size."""
    target = folder.joinpath(*PurePosixPath(member.filename.replace("\\", "/")).parts)
    target.parent.mkdir(parents=True, exist_ok=True)
    size = 0
    with archive.open(member) as stream, target.open("wb") as out:
        while block := stream.read(BLOCK):
            size += len(block)
            if size > budget:
                raise DataError(
                    f"{path.name}: the archive of {path.stat().st_size:,} bytes unpacks to more than {MAX_RATIO} times "
                    f"as many (above {FREE_BYTES:,}), or to more than {MAX_BYTES:,}; it looks made to fill a disk. "
                    "Unpack it yourself if you trust it."
                )
            out.write(block)
    return size
