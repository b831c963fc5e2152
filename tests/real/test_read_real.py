"""Real harvest files; the folder is named by PROOFSTRIP_REAL_DATA, and the answers are published with the data."""

import os
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest

from proofstrip.config import HarvestPart, config_folder
from proofstrip.crops import find_crop
from proofstrip.errors import DataError
from proofstrip.read import Harvest, read_harvest
from proofstrip.units import KG_PER_LB, M2_PER_ACRE

FOLDER = os.environ.get("PROOFSTRIP_REAL_DATA")
pytestmark = pytest.mark.skipif(FOLDER is None, reason="PROOFSTRIP_REAL_DATA does not name the folder of real data")
FLOW = {"mass_flow": {"column": "mass", "unit": "lb/s"}}
# Some columns of a display without units: what the user adds after looking at the file.
CONTOUR = {"mass_flow": {"column": "FLOW", "unit": "lb/s"}, "swath": {"column": "SWATH", "unit": "in"}}


def read(file: str, crop: str, **settings: Any) -> Harvest:
    part = HarvestPart.model_validate({"files": [file], **settings})
    return read_harvest(part, Path(str(FOLDER)), find_crop(crop, config_folder()))


@pytest.fixture(scope="module")
def corn() -> Harvest:
    return read("corn_field/points.csv", "corn", swath="360 in", columns=FLOW)


def test_corn_field_totals(corn: Harvest) -> None:
    # Data set gartner.corn of the R package agridat (University of Minnesota Precision Agriculture Center): its help
    # page gives drygrain = mass x seconds x (100 - moist) / (100 - 15.5) / 56 and area = dist x 360 / 6272640; summed.
    points = corn.points
    pounds = points["mass_flow_kg_s"] * points["duration_s"] / KG_PER_LB
    acres = points["distance_m"] * points["swath_m"] / M2_PER_ACRE
    bushels = pounds * (100 - points["moisture_pct"]) / 84.5 / 56
    assert len(points) == 4949
    assert pounds.sum() == pytest.approx(513_551.0, rel=1e-6)
    assert acres.sum() == pytest.approx(67.63677, rel=1e-6)
    assert bushels.sum() == pytest.approx(9_027.154, rel=1e-6)


def test_corn_field_first_rows(corn: Harvest) -> None:
    # Rows 1 to 5 and 11 by the formula of the same help page.
    points = corn.points
    bushels = points["mass_flow_kg_s"] * points["duration_s"] / KG_PER_LB * (100 - points["moisture_pct"]) / 84.5 / 56
    yields = bushels / (points["distance_m"] * points["swath_m"] / M2_PER_ACRE)
    expected = [128.3688, 130.3289, 146.1816, 125.1539, 120.8300, 141.8786]
    assert yields.iloc[[0, 1, 2, 3, 4, 10]].tolist() == pytest.approx(expected, abs=5e-4)


def test_corn_field_distance_and_duration_are_settled_by_measurement(corn: Harvest) -> None:
    units = {choice.quantity: (choice.unit, choice.settled) for choice in corn.sources[0].columns}
    assert units["distance"] == ("in", "header; measured, ratio 1.009")
    assert units["duration"] == ("s", "header; measured, ratio 1.000")
    assert np.isnan(corn.points["elevation_m"]).all()


def test_corn_field_without_overrides_names_the_choices() -> None:
    with pytest.raises(
        DataError, match=r"mass flow: column 'mass' .*has no unit; it may be lb/s .*, kg/s .*, t/h "
    ) as fault:
        read("corn_field/points.csv", "corn", swath="360 in")
    # 513,551 lb wet are 9,170.6 bushels of 56 lb, on 67.63677 ac: 135.6 bu/ac.
    assert "lb/s (136 bu/ac)" in str(fault.value)


def test_soybean_yield_recomputes() -> None:
    # Repository ISU-STRIPS/STRIPSyield: DRY_BU_AC fits 60 lb/bu at an 11 % basis.
    harvest = read("soybean_contour/points.shp", "soybean", columns=CONTOUR)
    points = harvest.points
    wet_kg_m2 = points["mass_flow_kg_s"] * points["duration_s"] / (points["distance_m"] * points["swath_m"])
    dry_bu_ac = wet_kg_m2 / KG_PER_LB * M2_PER_ACRE / 60 * (100 - points["moisture_pct"]) / 89

    logged = pyogrio.read_dataframe(Path(str(FOLDER)) / "soybean_contour/points.shp")["DRY_BU_AC"]
    assert len(points) == 4091
    assert float(np.median(dry_bu_ac / logged)) == pytest.approx(1.0, abs=5e-4)
    assert points["machine"].unique().tolist() == ["2007713498"]
    # The first record, by the clock of the C library: date -u -d @1256130079.
    assert points["time"].iloc[0] == 1256130079.0


def test_soybean_flow_from_its_dry_yield_is_the_logged_flow(tmp_path: Path) -> None:
    table = pyogrio.read_dataframe(Path(str(FOLDER)) / "soybean_contour/points.shp", read_geometry=False)
    table.drop(columns="FLOW").to_csv(tmp_path / "points.csv", index=False)
    stated = {"dry_yield": {"column": "DRY_BU_AC", "unit": "bu/ac at 11 %"}, "swath": CONTOUR["swath"]}
    part = HarvestPart.model_validate({"files": ["points.csv"], "columns": stated})
    derived = read_harvest(part, tmp_path, find_crop("soybean", config_folder())).points["mass_flow_kg_s"]
    assert float((derived / (table["FLOW"] * KG_PER_LB)).median()) == pytest.approx(1.0, abs=5e-4)


def test_soybean_without_overrides_names_the_choices() -> None:
    with pytest.raises(DataError, match=r"mass flow: column 'FLOW' .*has no unit; it may be lb/s"):
        read("soybean_contour/points.shp", "soybean")
