"""The standing crop: how much grain, how moist, where, and what a treatment does to it."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates

from proofstrip.simulate.layout import Floats, Ints, Layout, find_end
from proofstrip.simulate.scenario import Scenario

CELL_M = 3.0


@dataclass(frozen=True)
class Surface:
    """A random surface with mean 0 and SD 1 over the plane.

    Attributes
    ----------
    left_m, bottom_m : float
        Plane coordinates of the first value [m].
    values : Floats
        Rows up, columns right, every 3 m.
    """

    left_m: float
    bottom_m: float
    values: Floats

    def sample(self, right_m: Floats, up_m: Floats) -> Floats:
        """Read the surface, linear between its values."""
        places = np.stack([(up_m - self.bottom_m) / CELL_M, (right_m - self.left_m) / CELL_M])
        return np.asarray(map_coordinates(self.values, places, order=1, mode="nearest"), dtype=np.float64)


def draw_surface(extent_m: Floats, range_m: float, anisotropy: float, rng: np.random.Generator) -> Surface:
    """Draw a Gaussian surface with exponential covariance on a torus larger than the field.

    Parameters
    ----------
    extent_m : Floats
        left, bottom, right, top of the field in the plane [m].
    range_m : float
        Distance across the rows at which correlation is 0.05 [m].
    anisotropy : float
        Range along the rows as a multiple of that.
    rng : numpy.random.Generator

    Returns
    -------
    Surface

    Notes
    -----
    The amplitude of each wave is the root of the covariance's Fourier transform (Wood and Chan 1994, circulant
    embedding, from memory); the torus is wider than the field by one range, so that its sides do not resemble
    each other.
    """
    left, bottom, right, top = extent_m
    rows = int(np.ceil((top - bottom + range_m * anisotropy) / CELL_M)) + 2
    columns = int(np.ceil((right - left + range_m) / CELL_M)) + 2
    up = np.minimum(np.arange(rows), rows - np.arange(rows))[:, None] * CELL_M / anisotropy
    side = np.minimum(np.arange(columns), columns - np.arange(columns))[None, :] * CELL_M
    covariance = np.exp(-3 * np.hypot(up, side) / range_m)
    power = np.maximum(np.fft.fft2(covariance).real, 0)
    white = np.fft.fft2(rng.standard_normal((rows, columns)))
    return Surface(float(left), float(bottom), np.fft.ifft2(np.sqrt(power) * white).real)


@dataclass(frozen=True)
class Crop:
    """The crop of one invented field, readable at any place."""

    scenario: Scenario
    layout: Layout
    vigour: Surface
    wetness: Surface
    response: Surface
    response_floor: float
    poor_places_m: Floats

    def read_soil(self, across_m: Floats, along_m: Floats) -> Floats:
        """Give the grain at standard moisture that the ground bears without any treatment [kg/ha]."""
        own, right_up = self.scenario, self.layout.frame.flatten(across_m, along_m)
        width, length = self.layout.strip_edges_m[-1], own.strip_length_m
        level = np.maximum(1 + own.yield_cv * self.vigour.sample(*right_up), 0.05)
        trend = 1 + own.trend_along * (along_m / length - 0.5) + own.trend_across * (across_m / width - 0.5)
        to_end = np.minimum(along_m, find_end(own, across_m) - along_m)
        headland = 1 - own.headland_loss * np.clip(1 - to_end / own.headland_m, 0, 1)
        poor = np.ones_like(level)
        for middle in self.poor_places_m:
            distance = np.hypot(across_m - middle[0], along_m - middle[1])
            poor = np.where(distance < own.poor_patch_m, 1 - own.poor_patch_loss, poor)
        return np.asarray(own.yield_kg_ha * level * trend * headland * poor, dtype=np.float64)

    def read_effect(self, across_m: Floats, along_m: Floats, strip: Ints) -> Floats:
        """Give what the strip's treatment multiplies the yield by; ``strip`` -1 is border without treatment."""
        effect: Floats = np.array([*(kind.effect for kind in self.scenario.treatments), 1.0])[self._kinds(strip)]
        if self.scenario.effect_patch_share == 1:
            return effect
        responds = self.response.sample(*self.layout.frame.flatten(across_m, along_m)) > self.response_floor
        return np.where(responds, effect, 1.0)

    def read_moisture(self, across_m: Floats, along_m: Floats, strip: Ints, hours: Floats) -> Floats:
        """Give the grain's moisture, wet basis [%], ``hours`` after the first cut."""
        own = self.scenario
        extra = np.array([*(kind.moisture_pt for kind in own.treatments), 0.0])
        varied = own.moisture_sd_pt * self.wetness.sample(*self.layout.frame.flatten(across_m, along_m))
        trend = own.moisture_trend_pt * (along_m / own.strip_length_m - 0.5)
        moisture: Floats = own.moisture_pct + varied + trend + own.moisture_pt_per_h * hours + extra[self._kinds(strip)]
        return np.clip(moisture, 2.0, 60.0)

    def _kinds(self, strip: Ints) -> Ints:
        """Give the treatment of each strip; the border's is the one after the last."""
        kinds = np.append(self.layout.strip_treatment, len(self.scenario.treatments))
        own: Ints = kinds[strip]
        return own


def grow_crop(scenario: Scenario, layout: Layout, rng: np.random.Generator) -> Crop:
    """Draw the crop of a field.

    Parameters
    ----------
    scenario : Scenario
    layout : Layout
    rng : numpy.random.Generator

    Returns
    -------
    Crop
    """
    reach = scenario.header_width_m
    across = np.linspace(-reach, layout.strip_edges_m[-1] + reach, 50)
    along = np.linspace(0, scenario.strip_length_m, 50)
    right, up = layout.frame.flatten(*(part.ravel() for part in np.meshgrid(across, along)))
    extent = np.array([right.min(), up.min(), right.max(), up.max()]) + np.array([-6, -6, 6, 6])
    vigour = draw_surface(extent, scenario.yield_range_m, scenario.anisotropy, rng)
    wetness = draw_surface(extent, 150.0, 1.0, rng)
    response = draw_surface(extent, scenario.effect_patch_m, 1.0, rng)
    inside = response.sample(right, up)
    floor = float(np.quantile(inside, 1 - scenario.effect_patch_share))
    corner = (layout.strip_edges_m[-1], scenario.strip_length_m)
    places = rng.uniform((0, 0), corner, (scenario.poor_patches, 2))
    return Crop(scenario, layout, vigour, wetness, response, floor, places)
