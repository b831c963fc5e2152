"""Real fields before and after cleaning, beside invented ones: ``python -m tests.accuracy.measure_fields``.

PROOFSTRIP_REAL_DATA names the folder of real data. Writes docs/fields.md between its marks, and the maps beside it. Of
each field three things are told, none of which needs a truth:

- the nugget's share of the semivariance of log yield: what two records side by side do not share;
- the misfit of opposite passes: how far records of neighbouring passes, driven the other way, differ side by side;
- what was set aside, by reason.

Data: gartner.corn, University of Minnesota Precision Agriculture Center, through the R package agridat, CC BY-SA 3.0;
the soybean field of the repository ISU-STRIPS/STRIPSyield, GPL-3.
"""

import re
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.optimize import curve_fit
from scipy.spatial import KDTree
from scipy.spatial.distance import pdist

from proofstrip.clean import clean_points, confirm_widths, estimate_delays, follow_machines
from proofstrip.config import ColumnChoice, HarvestPart, load_defaults
from proofstrip.config import config_folder as configs
from proofstrip.crops import find_crop
from proofstrip.flags import count_flags
from proofstrip.read import read_harvest
from proofstrip.simulate import SCENARIOS, simulate_harvest
from tests.accuracy.page import table
from tests.clean.truth import to_points
from tests.real.uniformity import CORN_COLUMNS, real_data

PAGE = Path(__file__).resolve().parents[2] / "docs" / "fields.md"
BINS_M = np.arange(4.0, 124.0, 8.0)
MOST_RECORDS = 4000
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Yields:
    """Log yields at their places: easting, northing [m], heading [deg], value."""

    easting: Floats
    northing: Floats
    heading: Floats
    value: Floats


def semivariances(at: Yields, seed: int = 1) -> tuple[Floats, Floats]:
    """Give the semivariance of log yield in bins of distance.

    References
    ----------
    Cressie and Hawkins 1980, Mathematical Geology 12:115-125 (from memory): by mean roots of differences, which a few
    wild records hardly move.
    """
    kept = np.random.default_rng(seed).permutation(len(at.value))[:MOST_RECORDS]
    places = np.column_stack([at.easting, at.northing])[kept]
    distance, root = pdist(places), np.sqrt(pdist(at.value[kept, None], "cityblock"))
    number = np.digitize(distance, BINS_M)
    middle = [distance[number == k].mean() for k in range(1, len(BINS_M))]
    counts = [(number == k).sum() for k in range(1, len(BINS_M))]
    gamma = [root[number == k].mean() ** 4 / (0.457 + 0.494 / count) / 2 for k, count in enumerate(counts, start=1)]
    return np.array(middle), np.array(gamma)


def nugget_share(at: Yields) -> tuple[float, float]:
    """Give the nugget's share of the semivariance at 60 m by an exponential model, and the nugget as a scatter in %."""
    distance, gamma = semivariances(at)

    def model(h: Floats, nugget: float, sill: float, reach: float) -> Floats:
        return nugget + sill * (1 - np.exp(-h / reach))

    start = (gamma[0] / 2, gamma[-1], 30.0)
    (nugget, sill, reach), _ = curve_fit(model, distance, gamma, start, bounds=([0, 0, 5], [np.inf, np.inf, 300]))
    return float(nugget / model(np.array([60.0]), nugget, sill, reach)[0]), 100 * float(np.sqrt(nugget))


def opposite_misfit(at: Yields, swath_m: float) -> tuple[float, int]:
    """Give the median difference of records side by side in passes driven opposite ways [%], and how many there are."""
    places = np.column_stack([at.easting, at.northing])
    distance, near = KDTree(places).query(places, k=40, distance_upper_bound=1.3 * swath_m)
    near = np.where(np.isfinite(distance), near, 0)
    turned = np.abs((at.heading[near] - at.heading[:, None] + 180) % 360 - 180)
    fits = np.isfinite(distance) & (turned > 150)
    told = fits.any(axis=1)
    nearest = near[np.arange(len(near)), np.argmax(fits, axis=1)]
    return 100 * float(np.median(np.abs(at.value - at.value[nearest])[told])), int(told.sum())


def measure(name: str, points: gpd.GeoDataFrame) -> tuple[list[str], list[str], gpd.GeoDataFrame, list[Yields]]:
    """Clean one field and tell it before and after."""
    settings = load_defaults().clean
    track = follow_machines(points, settings)
    delays = estimate_delays(points, track, settings, None)
    track = confirm_widths(points, track, delays, settings)
    clean = clean_points(points, track, delays, settings)
    flow = clean["mass_flow_kg_s"] * clean["duration_s"]
    logged = np.log((flow / (clean["distance_m"] * clean["swath_m"])).where(lambda value: value > 0).to_numpy())
    grown = np.log((clean["wet_mass_kg"] / clean["area_m2"]).where(lambda value: value > 0).to_numpy())
    usable = clean["usable"].to_numpy()
    parts = [
        (np.isfinite(logged), ("easting_m", "northing_m"), logged),
        (usable & np.isfinite(logged), ("easting_m", "northing_m"), logged),
        (usable & np.isfinite(grown), ("cut_easting_m", "cut_northing_m"), grown),
    ]
    told = [
        Yields(*(clean[c].to_numpy()[kept] for c in (*columns, "heading_deg")), value[kept])
        for kept, columns, value in parts
    ]
    cells: list[str] = []
    for at in (told[0], told[2]):
        share, scatter = nugget_share(at)
        misfit, _ = opposite_misfit(at, float(np.median(clean["swath_m"])))
        cells += [f"{scatter:.1f}", f"{100 * share:.0f}", f"{misfit:.1f}"]
    said = "; ".join(f"{delay.seconds:+.1f} s, {delay.source}" for delay in delays)
    row = [name, f"{len(points):,}", said, *cells, f"{100 * (1 - usable.mean()):.1f}"]
    counts = count_flags(clean["flags"])
    return row, [f"{100 * counts[flag] / len(points):.1f}" for flag in TOLD], clean, told


TOLD = (
    *("position_jump", "position_frozen", "off_pass", "turn", "short_pass", "entry_ramp", "exit_ramp"),
    *("speed_change", "narrow_cut", "recut", "flow_range", "stuck_sensor", "spike"),
)


def read_fields(folder: Path) -> dict[str, gpd.GeoDataFrame]:
    """Read the real fields, and invented ones of their kind."""
    import tomllib

    columns = tomllib.loads(CORN_COLUMNS)["harvest"]["columns"]
    corn = HarvestPart(files=("points.csv",), swath="360 inch", columns=columns)
    units = {"swath": ("SWATH", "inch"), "mass_flow": ("FLOW", "lb/s"), "distance": ("DISTANCE", "inch")}
    units |= {"duration": ("CYCLES", "s"), "speed": ("SPEED", "mph"), "moisture": ("MOISTURE", "percent")}
    soy = HarvestPart(
        files=("points.shp",), columns={key: ColumnChoice(column=c, unit=u) for key, (c, u) in units.items()}
    )
    fields = {
        "corn_field": read_harvest(corn, folder / "corn_field", find_crop("corn", configs())).points,
        "soybean_contour": read_harvest(soy, folder / "soybean_contour", find_crop("soybean", configs())).points,
    }
    for name in ("already_shifted", "contour", "rough", "hard"):
        fields[f"invented: `{name}`"] = to_points(simulate_harvest(SCENARIOS[name], 1))
    return fields


def draw(name: str, told: list[Yields], source: str) -> None:
    """Draw a field as logged and as cleaned, in one scale."""
    kg_ha = [np.exp(at.value) * 1e4 for at in (told[0], told[2])]
    low, high = np.percentile(kg_ha[1], [2, 98])
    figure = Figure(figsize=(10, 5.6 if name == "corn_field" else 4.2), layout="constrained")
    panels = figure.subplots(1, 2, sharex=True, sharey=True)
    for axes, at, value, title in zip(panels, (told[0], told[2]), kg_ha, ("As logged", "Cleaned"), strict=True):
        west, south = told[0].easting.min(), told[0].northing.min()
        drawn = axes.scatter(at.easting - west, at.northing - south, c=value, s=3, cmap="cividis", vmin=low, vmax=high)
        axes.set(title=f"{title}: {len(value):,} records", aspect="equal", xlabel="m east")
    panels[0].set_ylabel("m north")
    figure.colorbar(drawn, ax=panels, label="wet yield, kg/ha", extend="both", shrink=0.8)
    figure.supxlabel(source, fontsize=7, x=0.02, ha="left")
    figure.savefig(PAGE.parent / f"field_{name}.png", dpi=80)


SOURCES = {
    "corn_field": "Data: University of Minnesota Precision Agriculture Center, through R package agridat, CC BY-SA 3.0",
    "soybean_contour": "Data: repository ISU-STRIPS/STRIPSyield, GPL-3",
}


def main() -> None:
    """Measure, draw, write."""
    rows, removed = [], []
    for name, points in read_fields(real_data()).items():
        row, counts, _, told = measure(name, points)
        rows.append(row)
        removed.append([name, *counts])
        if name in SOURCES:
            draw(name, told, SOURCES[name])
        print(*row, flush=True)
    before = ["as logged: nugget %", "its share %", "misfit %"]
    after = [cell.replace("as logged", "cleaned") for cell in before]
    head = ["field", "records", "delay", *before, *after, "set aside %"]
    flags = pd.DataFrame(removed, columns=["field", *TOLD]).set_index("field").T
    reasons = [[name, *row] for name, row in zip(flags.index, flags.to_numpy(), strict=True)]
    text = table(head, rows) + "\n\n" + table(["reason, % of records", *flags.columns], reasons)
    page = PAGE.read_text(encoding="utf-8")
    fresh = re.sub(r"(?s)(<!-- measured -->\n).*(\n<!-- end -->)", lambda mark: f"{mark[1]}\n{text}\n{mark[2]}", page)
    PAGE.write_text(fresh, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
