"""Everything that can be chosen about an invented harvest, each with its unit and default."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Treatment:
    """What one kind of strip is, and what it truly does.

    Attributes
    ----------
    name : str
    effect : float
        True yield as a multiple of the untreated yield.
    speed : float
        Ground speed as a multiple of the ordinary speed.
    moisture_pt : float
        Added to the grain's moisture [percentage points].
    """

    name: str
    effect: float = 1.0
    speed: float = 1.0
    moisture_pt: float = 0.0


@dataclass(frozen=True)
class Combine:
    """One combine.

    Attributes
    ----------
    name : str
    gain : float
        Logged flow as a multiple of the true flow.
    delay_s : float
        Mean time from the cutterbar to the flow sensor, mixing and tailings included [s].
    mixing_s : float
        Mean time in the two mixing stages; their output is gamma(2) distributed [s].
    start_s : float
        Start after the first combine [s].
    moisture_carry_s : float
        Mean time that grain stays in the chamber of the moisture probe, older grain among it; 0: none stays [s].
    """

    name: str
    gain: float = 1.0
    delay_s: float = 11.0
    mixing_s: float = 3.0
    start_s: float = 0.0
    moisture_carry_s: float = 0.0


@dataclass(frozen=True)
class Scenario:
    """One invented strip trial, its field, combines, sensors and display.

    Attributes
    ----------
    name, note : str
        Name, and what it is for.
    treatments : tuple of Treatment
        One strip of each in every block; the first is the control.
    blocks : int
    arrangement : {'randomised', 'alternating', 'mirrored'}
        Order of treatments inside the blocks: drawn anew, always the same, or turned round in every second block.
    strip_length_m, strip_width_m : float
        Strip width none: as wide as its passes [m].
    passes_per_strip : int
    narrow_last_share : float
        Share of its width that the last pass of a strip of several passes still finds standing.
    header_width_m : float
        [m]
    heading_deg : float
        Direction of the rows, clockwise from grid north [deg].
    curve_radius_m : float or None
        Passes are arcs of this radius; none: straight [m].
    end_slant : float
        Metres by which the far end of the crop comes nearer per metre to the right: 0 square, else point rows.
    yield_kg_ha, yield_cv, yield_range_m, anisotropy : float
        Level at standard moisture [kg/ha]; coefficient of variation of the random surface; distance across the rows
        at which its correlation has fallen to 0.05 [m]; range along the rows as a multiple of that.
    trend_along, trend_across : float
        Yield gained from one end, or side, of the field to the other, as a share of the level.
    headland_first : bool
        The first combine cuts a header's width across either end of the strips before them. Straight rows only.
    headland_loss, headland_m : float
        Share lost at the very end of the strips, vanishing over this distance [m].
    poor_patches : int
    poor_patch_m, poor_patch_loss : float
        Radius [m] and share of the yield lost in each.
    effect_patch_share, effect_patch_m : float
        Share of the ground on which the treatments act, in patches of this range [m].
    standard_moisture_pct, moisture_pct, moisture_sd_pt, moisture_trend_pt, moisture_pt_per_h : float
        Standard and mean moisture [%]; SD over the field, change along it [pt] and with time [pt/h].
    path : {'serpentine', 'one_way', 'racetrack'}
        Back and forth; always the same way with an empty drive back; or up in one half of the passes and down in the
        other, round and round, so that neighbours run the same way.
    pass_order : {'across', 'by_treatment', 'every_second'}
        Strips cut from left to right; one treatment after the other; every second strip, then the rest.
    combines : tuple of Combine
    combine_takes : {'blocks', 'strips', 'halves', 'treatments'}
        What two combines take in turn: every second block, every second strip, a half of the field, a treatment each.
    overlap_m, overlap_sd_m, wander_m : float
        Mean overlap of neighbouring passes, its SD from pass to pass, and SD of steering within a pass [m].
    speed_m_s, speed_cv, turn_speed_m_s, road_speed_m_s, turn_radius_m : float
        [m/s], CV of speed along the pass, [m/s], [m/s], [m].
    slowdowns_per_km, stops_per_km : float
        Slow stretches and full stops per kilometre cut.
    header_down_m, header_up_m : float
        The header goes down this far before the crop and up this far after it, 12 m at most [m].
    tailings_share, tailings_s : float
        Share of the grain that is threshed again, and its extra time [s].
    delay_flow_power : float
        Pure transport time is proportional to flow to the power of minus this; 0: always the same.
    sensor_power, noise_kg_s, noise_memory : float
        Logged = gain x flow^power; SD of the noise of a one-second mean [kg/s]; its correlation after one second.
    pass_error_sd, drift_pct_h : float
        Relative SD of the sensor's error from pass to pass; its drift [%/h].
    spike_share, stuck_per_h, stuck_s : float
        Share of records with a wild flow; spells of a repeated flow per hour and their mean length [s].
    moisture_hold_s, moisture_noise_pt : float
        The moisture sensor takes a new sample this often [s], with this error [pt].
    record_s, step_s : float
        Interval of the log, and the longest step of the simulation [s].
    log_through_turns : bool
        False: only while the logged header state is down.
    header_switch : {'good', 'stuck', 'inverted', 'missing'}
    header_late_s : float
        The logged header state follows the header this late [s].
    shift_applied_s : float
        The display pairs each position with the flow of this much later [s].
    lost_share, duplicate_share : float
        Share of records lost, in bursts, and written twice.
    position_noise_m, position_memory_s, pass_offset_m, antenna_right_m : float
        SD of the slow position error per axis [m], its memory [s], SD of a sideways offset per pass [m], and how far
        the antenna stands to the right of the header's centre without the display knowing [m].
    jump_share, frozen_per_h, frozen_s : float
        Share of records that jump 2 to 30 m; spells of a repeated position per hour and their mean length [s].
    swath_set_m : float or None
        Header width set in the display; none: the true one [m].
    tickets : bool
        Loads are weighed.
    load_of : {'strip', 'block', 'pair', 'combine'}
        What one load holds: a strip; all strips of a block; two strips of one treatment; or three strips of one
        combine, of which the ticket names the combine only.
    scale_error_sd, ticket_moisture_sd_pt : float
        Relative SD of a weight (0.0025: nearly all within 0.5 %), SD of a ticket's moisture [pt].
    counts : bool
        Seeds are counted in frames on the ground: in the standing crop, at the header and behind the machine.
    count_frames : int
        Frames of each zone of a strip.
    frame_m2 : float
        [m2]
    preharvest_loss_kg_ha, header_loss, machine_loss : float
        What fell before the harvest [kg/ha]; what the control's header and the machine leave lying, as a share of the
        yield. What a treatment adds to the yield it takes from the header's loss.
    seed_heaps : float
        Variance of a count = mean + this x mean squared: 0 where seeds fall at random, more where heads and pods fall.
    thousand_kernel_g : float
        [g]
    units : {'us', 'metric'}
        Of the written log.
    crop : str
        As named in configs/crops.toml, for the written trial file.
    """

    name: str = "ordinary"
    note: str = ""
    treatments: tuple[Treatment, ...] = (Treatment("control"), Treatment("tried", 1.04))
    blocks: int = 6
    arrangement: Literal["randomised", "alternating", "mirrored"] = "randomised"
    strip_length_m: float = 400.0
    strip_width_m: float | None = None
    passes_per_strip: int = 1
    narrow_last_share: float = 1.0
    header_width_m: float = 9.144
    heading_deg: float = 0.0
    curve_radius_m: float | None = None
    end_slant: float = 0.0
    yield_kg_ha: float = 3500.0
    yield_cv: float = 0.10
    yield_range_m: float = 60.0
    anisotropy: float = 2.0
    trend_along: float = 0.05
    trend_across: float = 0.03
    headland_first: bool = False
    headland_loss: float = 0.15
    headland_m: float = 20.0
    poor_patches: int = 0
    poor_patch_m: float = 12.0
    poor_patch_loss: float = 0.6
    effect_patch_share: float = 1.0
    effect_patch_m: float = 60.0
    standard_moisture_pct: float = 13.0
    moisture_pct: float = 13.5
    moisture_sd_pt: float = 0.3
    moisture_trend_pt: float = 0.5
    moisture_pt_per_h: float = -0.1
    path: Literal["serpentine", "one_way", "racetrack"] = "serpentine"
    pass_order: Literal["across", "by_treatment", "every_second"] = "across"
    combines: tuple[Combine, ...] = (Combine("combine 1"),)
    combine_takes: Literal["blocks", "strips", "halves", "treatments"] = "blocks"
    overlap_m: float = 0.0
    overlap_sd_m: float = 0.04
    wander_m: float = 0.03
    speed_m_s: float = 1.8
    speed_cv: float = 0.05
    turn_speed_m_s: float = 1.5
    road_speed_m_s: float = 3.0
    turn_radius_m: float = 7.0
    slowdowns_per_km: float = 0.5
    stops_per_km: float = 0.0
    header_down_m: float = 6.0
    header_up_m: float = 6.0
    tailings_share: float = 0.06
    tailings_s: float = 8.0
    delay_flow_power: float = 0.0
    sensor_power: float = 1.0
    noise_kg_s: float = 0.25
    noise_memory: float = 0.2
    pass_error_sd: float = 0.01
    drift_pct_h: float = 0.5
    spike_share: float = 0.002
    stuck_per_h: float = 0.0
    stuck_s: float = 25.0
    moisture_hold_s: float = 10.0
    moisture_noise_pt: float = 0.15
    record_s: float = 1.0
    step_s: float = 0.2
    log_through_turns: bool = True
    header_switch: Literal["good", "stuck", "inverted", "missing"] = "good"
    header_late_s: float = 0.0
    shift_applied_s: float = 0.0
    lost_share: float = 0.0
    duplicate_share: float = 0.001
    position_noise_m: float = 0.05
    position_memory_s: float = 60.0
    pass_offset_m: float = 0.02
    antenna_right_m: float = 0.0
    jump_share: float = 0.001
    frozen_per_h: float = 0.0
    frozen_s: float = 5.0
    swath_set_m: float | None = None
    tickets: bool = False
    load_of: Literal["strip", "block", "pair", "combine"] = "strip"
    scale_error_sd: float = 0.0025
    ticket_moisture_sd_pt: float = 0.1
    counts: bool = False
    count_frames: int = 4
    frame_m2: float = 0.09290304
    preharvest_loss_kg_ha: float = 20.0
    header_loss: float = 0.06
    machine_loss: float = 0.01
    seed_heaps: float = 0.1
    thousand_kernel_g: float = 156.0
    units: Literal["us", "metric"] = "us"
    crop: str = "soybean"

    def __post_init__(self) -> None:
        """Refuse what no combine can do."""
        self._check_ground()
        for combine in self.combines:
            pure_s = self.pure_delay_s(combine)
            if pure_s < 0:
                raise ValueError(
                    f"{combine.name}: delay_s {combine.delay_s} s is less than its mixing and tailings take; "
                    f"{combine.delay_s - pure_s:.2f} s or more is possible"
                )
        if self.narrow_last_share != 1 and self.passes_per_strip < 2:
            raise ValueError(
                f"narrow_last_share {self.narrow_last_share} needs two passes a strip or more; "
                f"found {self.passes_per_strip}"
            )
        # Neighbours are taken to have cut the whole length, and the run-in before the crop is 12 m.
        if not (0 <= self.header_down_m <= 12 and 0 <= self.header_up_m <= 12):
            raise ValueError(
                f"header_down_m {self.header_down_m} m and header_up_m {self.header_up_m} m must be from 0 to 12 m"
            )
        if not 0 < self.step_s <= 1:
            raise ValueError(f"step_s {self.step_s} s: noise is given per second, so a step is above 0 and up to 1 s")
        if self.shift_applied_s < 0:
            raise ValueError(f"shift_applied_s {self.shift_applied_s} s: a display pairs a position with a later flow")
        if self.counts:
            self._check_counts()
        if not self.log_through_turns and self.header_switch in ("inverted", "missing"):
            raise ValueError(f"a log that follows a header switch that is {self.header_switch} holds no harvest")

    def _check_ground(self) -> None:
        """Refuse ground that cannot be laid out."""
        if self.curve_radius_m is not None and self.curve_radius_m < 50:
            raise ValueError(f"curve_radius_m {self.curve_radius_m} m: no combine follows rows that bend under 50 m")
        if self.end_slant != 0 and self.curve_radius_m is not None:
            raise ValueError(f"end_slant {self.end_slant} needs straight rows; found curve_radius_m")
        if self.headland_first and (self.curve_radius_m is not None or self.end_slant):
            raise ValueError("headland_first needs straight rows and square ends; found curve_radius_m or end_slant")
        if not 0 <= self.end_slant <= 2:
            raise ValueError(f"end_slant {self.end_slant} must be from 0 to 2")

    def _check_counts(self) -> None:
        """Refuse losses that cannot be counted, and treatments that save more than is lost."""
        most = max(kind.effect for kind in self.treatments) - 1
        if most > self.header_loss:
            raise ValueError(
                f"header_loss {self.header_loss:g}: a treatment saves {most:g} of the yield, more than the header loses"
            )
        if self.count_frames < 1 or self.frame_m2 <= 0 or self.thousand_kernel_g <= 0:
            raise ValueError(
                f"count_frames {self.count_frames}, frame_m2 {self.frame_m2} and thousand_kernel_g "
                f"{self.thousand_kernel_g} must be above zero"
            )
        if min(self.preharvest_loss_kg_ha, self.machine_loss, self.seed_heaps) < 0:
            raise ValueError("preharvest_loss_kg_ha, machine_loss and seed_heaps must be zero or more")

    def pure_delay_s(self, combine: Combine) -> float:
        """Give the part of a combine's delay that neither mixing nor tailings cause [s]."""
        return combine.delay_s - combine.mixing_s - self.tailings_share * self.tailings_s

    @property
    def spacing_m(self) -> float:
        """Distance of neighbouring passes [m]."""
        return self.header_width_m - self.overlap_m

    @property
    def nominal_flow_kg_s(self) -> float:
        """Flow at the level of yield, full width and ordinary speed [kg/s]."""
        return self.yield_kg_ha / 10_000 * self.header_width_m * self.speed_m_s

    @property
    def steps_per_record(self) -> int:
        """Steps of the simulation in one record."""
        return max(1, round(self.record_s / self.step_s))

    @property
    def step_length_s(self) -> float:
        """Length of a step: the longest up to ``step_s`` that divides the record [s]."""
        return self.record_s / self.steps_per_record
