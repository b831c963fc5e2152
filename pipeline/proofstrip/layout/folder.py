"""The folder of a layout: trial map, harvest lines, table, map, sheet and trial file, written whole or not at all."""

from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio

from proofstrip.cells import guard_frame
from proofstrip.errors import DataError
from proofstrip.layout.drawing import draw_map
from proofstrip.layout.expect import Expectation
from proofstrip.layout.plan import Plan
from proofstrip.layout.settings import LayoutSettings
from proofstrip.layout.sheet import render_sheet
from proofstrip.layout.trial_file import write_trial_file
from proofstrip.read.vector import STRIP_LAYER
from proofstrip.report.sheet import save_png, standalone
from proofstrip.units import M2_PER_ACRE, M_PER_FT
from proofstrip.whole import written_whole

# GeoPackage notes when it was written; a fixed date keeps the same layout the same bytes.
NO_DATE = "1970-01-01T00:00:00.000Z"
DECIMALS = 8  # of a degree: a millimetre


def write_layout(plan: Plan, settings: LayoutSettings, found: Expectation, folder: Path) -> None:
    """Write the folder of a layout.

    Parameters
    ----------
    plan : Plan
    settings : LayoutSettings
    found : Expectation
    folder : pathlib.Path
        New or empty: a trial file that somebody has filled in is not written over.

    Raises
    ------
    DataError
        When the folder holds files already, or cannot be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise DataError(
            f"{folder} holds files already; nothing was written, so that no trial file filled in by hand is lost. "
            "Name another folder with --out, or remove this one."
        )
    with written_whole(folder) as fresh:
        _write_maps(plan, fresh)
        guard_frame(list_strips(plan, settings)).to_csv(fresh / "layout.csv", index=False, lineterminator="\n")
        (fresh / "trial.toml").write_text(write_trial_file(settings, "trial_map.gpkg"), encoding="utf-8", newline="\n")
        (fresh / "sheet.html").write_text(render_sheet(plan, settings, found), encoding="utf-8", newline="\n")
        heading = f"{settings.trial.name}: strips for {settings.trial.season}"
        said = settings.trial.field + (". Invented data: for demonstration" if settings.invented else "")
        save_png(draw_map(plan, settings, standalone(heading, said.strip(". ") or " ")), fresh / "map.png")


def _write_maps(plan: Plan, folder: Path) -> None:
    """Write strips, guards and lines: one GeoPackage with a layer each, and a GeoJSON each."""
    layers = {STRIP_LAYER: plan.strips, "guards": plan.guards, "harvest_lines": plan.lines}
    files = {STRIP_LAYER: "trial_map.geojson", "guards": "guards.geojson", "harvest_lines": "harvest_lines.geojson"}
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": NO_DATE})
    try:
        for name, table in layers.items():
            if len(table):
                _write_layer(table, folder / "trial_map.gpkg", layer=name, driver="GPKG")
                degrees = table.to_crs("EPSG:4326")
                _write_layer(
                    degrees, folder / files[name], driver="GeoJSON", RFC7946="YES", COORDINATE_PRECISION=DECIMALS
                )
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def _write_layer(table: gpd.GeoDataFrame, path: Path, **options: object) -> None:
    """Write a table as one layer."""
    table.to_file(path, engine="pyogrio", **options)


def list_strips(plan: Plan, settings: LayoutSettings) -> pd.DataFrame:
    """List the strips, in metric and in US units.

    Parameters
    ----------
    plan : Plan
    settings : LayoutSettings

    Returns
    -------
    pandas.DataFrame
        From left to right: place, strip, treatment, block, width, length, area, passes that count with their numbers.
    """
    table = pd.DataFrame(plan.strips.drop(columns="geometry"))
    numbers = plan.lines.groupby("strip")["pass_number"].agg(lambda own: " ".join(map(str, own)))
    headings = plan.lines.groupby("strip")["heading_deg"].agg(lambda own: " ".join(f"{value:g}" for value in own))
    return pd.DataFrame(
        {
            "place": table["place"],
            "strip": table["strip"],
            "treatment": table["treatment"],
            "block": table["block"],
            "width_m": table["width_m"].round(3),
            "width_ft": (table["width_m"] / M_PER_FT).round(2),
            "length_m": table["length_m"].round(2),
            "length_ft": (table["length_m"] / M_PER_FT).round(1),
            "area_m2": table["area_m2"].round(1),
            "area_ac": (table["area_m2"] / M2_PER_ACRE).round(4),
            "harvest_width_m": round(settings.header_passes * settings.machines.header_m, 3),
            "pass_numbers": table["strip"].map(numbers),
            "headings_deg": table["strip"].map(headings),
        }
    )
