"""What a report is made of."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd

from proofstrip.config import Settings


@dataclass(frozen=True)
class ReportMaterial:
    """Everything that the page is made of.

    Attributes
    ----------
    result : dict
        result.json.
    strips : pandas.DataFrame
        strips.csv.
    points : geopandas.GeoDataFrame
        points.parquet.
    trial_map : geopandas.GeoDataFrame
        strip, treatment, block, geometry.
    run : dict
        run.json: version, settings, input hashes, rows and times of each stage.
    settings : Settings
    """

    result: dict[str, Any]
    strips: pd.DataFrame
    points: gpd.GeoDataFrame
    trial_map: gpd.GeoDataFrame
    run: dict[str, Any]
    settings: Settings
