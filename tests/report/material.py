"""A small invented field for the report: strips, records, a result and a run, in any odd shape a trial can take."""

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import box

from proofstrip.config import Settings, load_settings
from proofstrip.flags import FLAGS, Flag, count_flags
from proofstrip.report import ReportMaterial
from proofstrip.units import HA_PER_ACRE

ECONOMICS = """
[economics]
price = "11.40 USD/bu"
investment = "18000 USD"
years = 1
area = "900 ac"
cost = { Lifters = "0.50 USD/ac" }
"""
WIDTH_M, SPEED_M_S = 9.14, 2.0


def make_settings(folder: Path, crop: str, control: str, extra: str, notes: str) -> Settings:
    text = f"""
[trial]
name = "Crop lifters on the header"
field = "North quarter"
season = 2024
crop = "{crop}"
notes = "{notes}"
[harvest]
files = ["harvest.csv"]
[trial_map]
file = "strips.gpkg"
block = "block"
control = {control!r}
{extra}
"""
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    return load_settings(folder / "trial.toml")


def make_map(treatments: list[str], blocks: int, length_m: float) -> gpd.GeoDataFrame:
    rows = []
    for block in range(blocks):
        for place, treatment in enumerate(treatments if block % 2 == 0 else treatments[::-1]):
            number = block * len(treatments) + place
            west = 500_000 + number * WIDTH_M
            shape = box(west, 4_400_000, west + WIDTH_M, 4_400_000 + length_m)
            rows.append(
                {"strip": f"S{number + 1}", "treatment": treatment, "block": f"B{block + 1}", "geometry": shape}
            )
    return gpd.GeoDataFrame(rows, crs="EPSG:32614")


def make_points(trial_map: gpd.GeoDataFrame, yields: dict[str, float], rng: np.random.Generator) -> gpd.GeoDataFrame:
    frames = []
    for number, row in enumerate(trial_map.itertuples()):
        west, south, east, north = row.geometry.bounds
        along = np.arange(south - 30, north + 30, SPEED_M_S)
        up = number % 2 == 0
        frame = pd.DataFrame({"cut_northing_m": along if up else along[::-1]})
        frame["cut_easting_m"] = (west + east) / 2 + rng.normal(0, 0.1, len(frame))
        frame["heading_deg"] = 0.0 if up else 180.0
        inside = frame["cut_northing_m"].between(south + 15, north - 15)
        frame["northing_m"] = frame["cut_northing_m"] + (22 if up else -22)
        frame["easting_m"] = frame["cut_easting_m"]
        frame["yield_kg_ha"] = (
            yields[row.strip] * (1 + rng.normal(0, 0.04, len(frame))) * (1 + 0.1 * np.sin(along / 60))
        )
        frame["flags"] = np.where(inside, 0, int(Flag.ENTRY_RAMP if up else Flag.EXIT_RAMP)).astype("int32")
        frame["pass_id"] = number + 1
        frame["strip"], frame["treatment"], frame["block"] = row.strip, row.treatment, row.block
        frames.append(frame)
    points = pd.concat(frames, ignore_index=True)
    points.loc[points.index % 97 == 5, "flags"] |= int(Flag.SPIKE)
    points.loc[points.index % 53 == 5, "flags"] |= int(Flag.NARROW_CUT)
    outside = points.index % 211 == 7
    points.loc[outside, "flags"] |= int(Flag.OUTSIDE_STRIP)
    points.loc[outside, ["strip", "treatment", "block"]] = None
    excluding = sum(int(meaning.flag) for meaning in FLAGS if meaning.excludes)
    points["usable"] = (points["flags"] & excluding) == 0
    points["swath_m"] = points["cut_width_m"] = WIDTH_M
    points["distance_m"], points["duration_s"], points["moisture_pct"] = SPEED_M_S, 1.0, 13.2
    points["area_m2"] = SPEED_M_S * WIDTH_M
    points["mass_flow_kg_s"] = points["yield_kg_ha"] * SPEED_M_S * WIDTH_M / 1e4
    points["machine"] = "combine 1"
    geometry = gpd.points_from_xy(points["cut_easting_m"], points["cut_northing_m"])
    return gpd.GeoDataFrame(points, geometry=geometry, crs=trial_map.crs)


def make_strips(
    trial_map: gpd.GeoDataFrame, points: gpd.GeoDataFrame, yields: dict[str, float], bushel: float | None
) -> pd.DataFrame:
    strips = pd.DataFrame(trial_map.drop(columns="geometry"))
    strips["source"] = "combine"
    strips["yield_kg_ha"] = strips["strip"].map(yields)
    strips["yield_bu_ac"] = strips["yield_kg_ha"] / bushel if bushel else np.nan
    strips["moisture_pct"], strips["speed_m_s"] = 13.2, 2.01
    strips["length_m"] = trial_map.geometry.bounds["maxy"] - trial_map.geometry.bounds["miny"] - 30
    strips["area_m2"] = strips["length_m"] * WIDTH_M
    strips["standard_mass_kg"] = strips["area_m2"] * strips["yield_kg_ha"] / 1e4
    counts = points.groupby("strip")["usable"].agg(["size", "sum"]).reindex(strips["strip"])
    strips["records"], strips["records_used"] = counts["size"].to_numpy(), counts["sum"].to_numpy()
    strips["share_removed"] = 1 - strips["records_used"] / strips["records"]
    strips["pass_ids"], strips["machines"] = "1", "combine 1"
    strips["direction"] = ["N" if row % 2 == 0 else "S" for row in range(len(strips))]
    return strips


def with_ends(stem: str, values: list[float | None], scale: float = 1.0) -> dict[str, float | None]:
    ends = zip(("", "_low", "_high"), values, strict=True)
    return {stem + end: None if value is None else value * scale for end, value in ends}


def make_difference(treatment: str, control: str, gap: float, base: float, pairs: int | None) -> dict[str, Any]:
    """A margin of 120 kg/ha, and figures of a t test that go with it; without pairs a description only."""
    low, high = (gap - 120.0, gap + 120.0) if pairs else (None, None)
    tested = {
        "se_kg_ha": 58.6,
        "p_value": 0.0123,
        "p_exact": 0.03125,
        "p_exact_floor": 0.03125,
        "detectable_kg_ha": 171.0,
    }
    return {
        "treatment": treatment,
        "control": control,
        "pairs": pairs,
        "difference_kg_ha": gap,
        "difference_pct": 100 * gap / base,
        "low_kg_ha": low,
        "high_kg_ha": high,
        "confidence": 0.9,
        "method": "paired t test",
        **(tested if pairs else dict.fromkeys(tested)),
    }


def make_payback(entry: dict[str, Any], kg_ha_per_bu_ac: float) -> dict[str, Any]:
    """11.40 USD a bushel, 0.50 USD/ac extra cost, 18,000 USD outlay over 900 ac within a year."""
    differences = [entry[key] for key in ("difference_kg_ha", "low_kg_ha", "high_kg_ha")]
    gains = [None if value is None else value / kg_ha_per_bu_ac * 11.4 - 0.5 for value in differences]
    best_first = (gains[0], gains[2], gains[1])
    acres = [18_000 / gain if gain is not None and gain > 0 else None for gain in best_first]
    net = [None if gain is None else gain - 20.0 for gain in gains]
    added = max(0.0, (gains[0] or 0) + 0.5)
    return {
        "treatment": entry["treatment"],
        "currency": "USD",
        "years": 1.0,
        "investment": 18_000.0,
        "area_ac": 900.0,
        "price_per_bu": 11.4,
        "lines": [
            {"name": name, "part": part, "per_ac": amount, "per_ha": amount / HA_PER_ACRE}
            for name, part, amount in (("grain", "added_returns", added), ("inputs", "added_costs", 0.5))
        ],
        "budget": {"added_returns": added, "reduced_costs": 0.0, "added_costs": 0.5, "reduced_returns": 0.0},
        **with_ends("gain_per_ac", gains),
        **with_ends("gain_per_ha", gains, 1 / HA_PER_ACRE),
        **with_ends("net_gain_per_ac", net),
        **with_ends("net_gain_per_ha", net, 1 / HA_PER_ACRE),
        **with_ends("break_even_ac", acres),
        **with_ends("break_even_ha", acres, HA_PER_ACRE),
        **with_ends("payback_years", acres, 1 / 900),
        "break_even_difference_kg_ha": 20.5 / 11.4 * kg_ha_per_bu_ac,
        "notes": [],
    }


def make_choices(entry: dict[str, Any]) -> list[dict[str, Any]]:
    same = {key: entry[key] for key in ("treatment", "low_kg_ha", "high_kg_ha")}
    return [
        {
            "name": "No record removed",
            "difference_kg_ha": entry["difference_kg_ha"] * 0.9,
            "moves": False,
            "note": "as said",
            **same,
        },
        {
            "name": "Delay 4 s longer",
            "difference_kg_ha": entry["difference_kg_ha"] * 1.05,
            "moves": False,
            "note": "as said",
            **same,
        },
    ]


ANOVA = [
    {"source": "block", "df": 5, "ss": 161234.0, "ms": 32246.8, "f": 3.1, "p": 0.12},
    {"source": "treatment", "df": 1, "ss": 123456.0, "ms": 123456.0, "f": 11.9, "p": 0.0123},
    {"source": "residual", "df": 5, "ss": 51800.0, "ms": 10360.0, "f": None, "p": None},
]
CHECKS = [
    {
        "name": "speed_balance",
        "passed": True,
        "value": 0.012,
        "allowed": "within 3 %",
        "note": "Both treatments were driven alike.",
    },
    {
        "name": "direction_balance",
        "passed": False,
        "value": 0.5,
        "allowed": "0.25",
        "note": "All treated strips were cut northward.",
    },
    {"name": "ground_loss", "passed": None, "value": None, "allowed": "", "note": "No counts were given."},
]


def make_result(
    strips: pd.DataFrame, points: gpd.GeoDataFrame, control: str, bushel: float | None, replicated: bool
) -> dict[str, Any]:
    """Simple arithmetic in the shape of the contract; the figures only have to be consistent with each other."""
    means = strips.groupby("treatment", sort=False)["yield_kg_ha"].mean()
    pairs = int(strips.groupby("treatment").size().min()) if replicated else None
    differences = [
        make_difference(name, control, float(means[name] - means[control]), float(means[control]), pairs)
        for name in means.index
        if name != control
    ]
    delay = {"machine": "combine 1", "seconds": 11.2, "low": 10.8, "high": 11.7, "source": "estimated", "reason": None}
    return {
        "schema_version": 1,
        "trial": {"name": "Crop lifters on the header"},
        "delay": [delay],
        "records": {"read": len(points), "used": int(points["usable"].sum()), "flags": count_flags(points["flags"])},
        "yield_unit": "kg/ha",
        "treatments": [
            {"treatment": name, "strips": int((strips["treatment"] == name).sum()), "mean_kg_ha": mean}
            for name, mean in means.items()
        ],
        "differences": differences,
        "anova": ANOVA if replicated else [],
        "lsd": 118.4 if replicated else None,
        "cv_pct": 2.71 if replicated else None,
        "letters": {name: "ab"[row % 2] for row, name in enumerate(means.index)} if replicated else {},
        "economics": [make_payback(entry, bushel or 67.25) for entry in differences],
        "sensitivity": [choice for entry in differences for choice in make_choices(entry)],
        "checks": CHECKS,
        "warnings": [{"code": "delay_range", "message": "The delay was searched from -15 to 25 seconds."}],
        "verdict": {
            "word": "not_settled",
            "sentence": "The lifters gained yield, but whether they pay is not settled.",
        },
    }


def make_run(settings: Settings) -> dict[str, Any]:
    return {
        "version": "0.1.0",
        "settings": settings.model_dump(mode="json", exclude={"folder"}),
        "inputs": [
            {"file": "harvest.csv", "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"}
        ],
        "stages": [{"stage": "read", "rows": 2400, "seconds": 0.31}, {"stage": "clean", "rows": 2400, "seconds": 1.2}],
        "flags": {"missing": {"bit": 1, "count": 0}},
    }


def build_material(
    folder: Path,
    treatments: tuple[str, ...] = ("Control", "Lifters"),
    blocks: int = 6,
    crop: str = "soybean",
    units: str = "us",
    economics: str = ECONOMICS,
    notes: str = "Invented field",
    length_m: float = 380.0,
    step: float = 205.0,
) -> ReportMaterial:
    """Build the material of one trial; every argument is a way in which trials differ."""
    rng = np.random.default_rng(7)
    extra = economics + f'\n[report]\nunits = "{units}"\n'
    settings = make_settings(folder, crop, treatments[0], extra, notes)
    trial_map = make_map(list(treatments), blocks, length_m)
    level = {name: 3500 + step * place for place, name in enumerate(treatments)}
    lift = {f"B{block + 1}": rng.normal(0, 130) for block in range(blocks)}
    yields = {row.strip: level[row.treatment] + lift[row.block] + rng.normal(0, 40) for row in trial_map.itertuples()}
    points = make_points(trial_map, yields, rng)
    bushel = settings.trial.crop.kg_ha_per_bu_ac
    strips = make_strips(trial_map, points, yields, bushel)
    result = make_result(strips, points, treatments[0], bushel, blocks > 1 and len(treatments) > 1)
    if not economics:
        result["economics"] = []
    return ReportMaterial(result, strips, points, trial_map, make_run(settings), settings)
