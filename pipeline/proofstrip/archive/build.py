"""One run into the archive: its layers made, its raw files copied, everything hashed, put in place whole."""

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import rasterio  # type: ignore[import-untyped]

from proofstrip.archive.catalog import ITEM, Contents, Item, describe_item
from proofstrip.archive.dictionary import write_dictionary
from proofstrip.archive.hashes import hash_stream
from proofstrip.archive.layers import write_points, write_strips
from proofstrip.archive.names import Naming, hash_content, name_trial
from proofstrip.archive.provenance import describe_provenance
from proofstrip.archive.reread import UNREADABLE, read_again
from proofstrip.archive.runs import FinishedRun, RawFile, load_run, place_sources
from proofstrip.archive.store import Store
from proofstrip.archive.surfaces import write_surfaces
from proofstrip.errors import DataError
from proofstrip.read.files import hash_file
from proofstrip.read.trial_map import read_trial_map
from proofstrip.record import write_json

REMADE = "points.parquet"


@dataclass(frozen=True)
class Archived:
    """What became of a run.

    Attributes
    ----------
    item : str
    folder : str
        Its place in the archive.
    version : int
    written : bool
        False: the archive held the same run already.
    earlier : str or None
        The version before.
    """

    item: str
    folder: str
    version: int
    written: bool
    earlier: str | None


def archive_run(folder: Path, store: Store) -> Archived:
    """Put a run folder and its raw files into an archive.

    Parameters
    ----------
    folder : pathlib.Path
        The run folder.
    store : Store

    Returns
    -------
    Archived

    Raises
    ------
    DataError
        When run or raw files are no longer as they were run, licence and contact are not stated, or the archive cannot
        be written.
    """
    run = load_run(folder)
    points = gpd.read_parquet(folder / REMADE)
    trial = run.result["trial"]
    slug = name_trial(trial["name"], trial["field"], trial["season"])
    try:
        refuse_other_things(store)
        store.clear_leftovers()
        versions = [item for item in store.list_items() if item.folder.startswith(f"trials/{slug}/")]
        content = hash_content(run)
        same = next((item for item in versions if item.content == content), None)
        if same is not None:
            store.write_index()
            return Archived(same.data["id"], same.folder, same.version, False, None)
        earlier = max(versions, key=lambda item: item.version, default=None)
        crs = ":".join(points.crs.to_authority() or ()) or points.crs.name
        number = earlier.version + 1 if earlier else 1
        naming = Naming(slug, number, content, trial["name"], trial["season"], trial["crop"], crs)
        with store.new_item(naming.folder) as fresh:
            write_item(run, naming, points, earlier, fresh)
        store.write_index()
    except UNREADABLE as fault:
        raise DataError(f"{store.address} cannot be written: {fault}. Nothing of this run was archived.") from fault
    return Archived(naming.item, naming.folder, number, True, earlier.data["id"] if earlier else None)


def refuse_other_things(store: Store) -> None:
    """Leave a folder alone that holds something else than an archive.

    Parameters
    ----------
    store : Store
    """
    files = store.list_files() if store.fs.exists(store.root) else []
    if files and not any(place.startswith("trials/") for place in files):
        raise DataError(
            f"{store.address} holds other things ({files[0]}) and is no archive; nothing was written. Name a new or "
            "empty folder, or an archive, with --to."
        )


def write_item(run: FinishedRun, naming: Naming, points: gpd.GeoDataFrame, earlier: Item | None, folder: Path) -> None:
    """Write every file of an item into a folder, item.json last.

    Parameters
    ----------
    run : FinishedRun
    naming : Naming
    points : geopandas.GeoDataFrame
        Of the run.
    earlier : Item or None
        The version before.
    folder : pathlib.Path
        Empty.
    """
    sources = place_sources(run)
    _copy_sources(sources, run.raw, folder)
    for output in run.record["outputs"]:
        if output["file"] != REMADE:
            _copy(run.folder / output["file"], folder / output["file"])
            if hash_file(folder / output["file"]) != output["sha256"]:
                raise OSError(f"{output['file']} changed while it was copied")
    _copy(run.folder / "run.json", folder / "run.json")
    strips_map = read_trial_map(run.settings.trial_map, run.settings.folder).strips
    write_points(points, naming, folder / REMADE)
    text = {"strip": str, "treatment": str, "block": str, "pass_ids": str, "machines": str}
    strips = pd.read_csv(run.folder / "strips.csv", dtype=text, keep_default_na=False, na_values=[""])
    write_strips(strips, strips_map, folder / "strips.gpkg")
    surfaces = write_surfaces(points, folder)
    write_dictionary(folder)
    made = [REMADE, "strips.gpkg", *surfaces]
    write_json(folder / "provenance.json", describe_provenance(run, naming, sources, made))
    rasters = {name: _describe_raster(folder / name) for name in surfaces}
    contents = Contents(run, naming, points, strips_map, surfaces, rasters)
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    hashed = {path.relative_to(folder).as_posix(): (_hash_one(path), path.stat().st_size) for path in files}
    item = describe_item(contents, hashed, earlier)
    # A full disk can cut a file short without a word from its writer.
    for name, problem in read_again(folder, hashed, item["properties"]).items():
        raise OSError(f"{name} {problem}")
    write_json(folder / ITEM, item)


def _hash_one(path: Path) -> str:
    """Hash the bytes of one file, whatever belongs to it."""
    with path.open("rb") as stream:
        return hash_stream(stream)[0]


def _describe_raster(path: Path) -> dict[str, Any]:
    """Give shape and transform of a surface as STAC's projection extension wants them."""
    with rasterio.open(path) as source:
        return {"shape": list(source.shape), "transform": list(source.transform)[:6]}


def _copy(source: Path, target: Path) -> None:
    """Copy the bytes of a file."""
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)


def _copy_sources(sources: dict[str, Path], raw: tuple[RawFile, ...], folder: Path) -> None:
    """Copy trial file and raw files, and refuse a copy that is not what was run."""
    for place, path in sources.items():
        _copy(path, folder / place)
    places = {path: place for place, path in sources.items()}
    for one in raw:
        if hash_file(folder / places[one.path]) != one.sha256:
            raise DataError(
                f"{one.path} changed while it was being archived; nothing was archived. Wait until it is complete, run "
                "the trial again, then archive it."
            )
