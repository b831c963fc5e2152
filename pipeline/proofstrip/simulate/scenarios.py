"""Named harvests: each plants something that a pipeline must cope with, or must refuse to judge."""

from dataclasses import replace

from proofstrip.simulate.scenario import Combine, Scenario, Treatment

ORDINARY = Scenario(note="One combine, back and forth, small faults of every common kind.")

_ALL = (
    ORDINARY,
    replace(
        ORDINARY,
        name="hard",
        note="Two combines, stops, jumps, overlap, narrow last pass of each strip, late header switch.",
        combines=(Combine("combine 1", 1.0, 11.0, 3.0), Combine("combine 2", 1.06, 13.0, 3.5, start_s=120.0)),
        passes_per_strip=2,
        narrow_last_share=0.6,
        overlap_m=0.35,
        overlap_sd_m=0.12,
        wander_m=0.06,
        stops_per_km=0.6,
        slowdowns_per_km=1.5,
        speed_cv=0.08,
        jump_share=0.004,
        frozen_per_h=3.0,
        stuck_per_h=1.0,
        duplicate_share=0.004,
        lost_share=0.01,
        spike_share=0.005,
        header_late_s=3.0,
        position_noise_m=0.12,
        poor_patches=6,
        delay_flow_power=0.1,
        sensor_power=0.97,
        pass_error_sd=0.015,
        drift_pct_h=1.0,
    ),
    replace(
        ORDINARY,
        name="flat",
        note="A field without pattern under a noisy sensor: the delay cannot be found from it.",
        yield_cv=0.015,
        trend_along=0.0,
        trend_across=0.0,
        headland_loss=0.0,
        noise_kg_s=0.08 * ORDINARY.nominal_flow_kg_s,
    ),
    replace(ORDINARY, name="one_way", note="Every pass in the same direction, empty drive back.", path="one_way"),
    replace(ORDINARY, name="contour", note="Curved passes along a slope.", curve_radius_m=350.0),
    replace(
        ORDINARY,
        name="rough",
        note="Curved passes whose records scatter as much as those of a real soybean field.",
        curve_radius_m=350.0,
        noise_kg_s=0.6,
        noise_memory=0.5,
    ),
    replace(
        ORDINARY,
        name="already_shifted",
        note="The display moved the records by 12 s where the grain takes 9 s.",
        shift_applied_s=12.0,
        combines=(Combine("combine 1", 1.0, 9.0, 2.5),),
    ),
    replace(ORDINARY, name="slow_log", note="A record every 3 s.", record_s=3.0),
    replace(ORDINARY, name="fast_log", note="Five records a second.", record_s=0.2),
    replace(ORDINARY, name="patchy", note="The treatment acts in patches only.", effect_patch_share=0.3),
    replace(ORDINARY, name="no_header_switch", note="The display knows no header state.", header_switch="missing"),
    replace(ORDINARY, name="angled", note="Rows at 37 degrees.", heading_deg=37.0),
    replace(ORDINARY, name="short_strips", note="Strips of 120 m.", strip_length_m=120.0),
    replace(
        ORDINARY, name="one_per_load", note="Each strip is one load over the scale.", tickets=True, passes_per_strip=2
    ),
    replace(
        ORDINARY,
        name="two_combines",
        note="Two combines take every second block; one reads 6 % high and takes 2 s longer.",
        combines=(Combine("combine 1"), Combine("combine 2", 1.06, 13.0, 3.5, start_s=60.0)),
    ),
    replace(
        ORDINARY, name="header_inverted", note="The logged header state says up for down.", header_switch="inverted"
    ),
    replace(ORDINARY, name="header_stuck", note="The logged header state is always down.", header_switch="stuck"),
    replace(ORDINARY, name="header_late", note="The logged header state is 4 s late.", header_late_s=4.0),
    replace(
        ORDINARY,
        name="moisture_lag",
        note="Grain dries fast, the moisture probe repeats itself for 20 s and mixes old grain with new.",
        combines=(Combine("combine 1", moisture_carry_s=20.0),),
        moisture_hold_s=20.0,
        moisture_sd_pt=0.6,
        moisture_trend_pt=1.5,
        moisture_pt_per_h=-1.0,
    ),
    replace(
        ORDINARY,
        name="drier",
        note="The treatment dries the grain by 1.5 points.",
        treatments=(Treatment("control"), Treatment("tried", 1.04, moisture_pt=-1.5)),
    ),
    replace(
        ORDINARY,
        name="control_first",
        note="All control strips are cut before the others, with a sensor that drifts by 1 % an hour.",
        pass_order="by_treatment",
        drift_pct_h=1.0,
    ),
    replace(ORDINARY, name="antenna_off", note="The antenna stands 0.2 m to the right, unknown.", antenna_right_m=0.2),
    replace(
        ORDINARY,
        name="poor_positions",
        note="A receiver that is off by half a metre.",
        position_noise_m=0.5,
        pass_offset_m=0.1,
    ),
    replace(
        ORDINARY,
        name="hand_steered",
        note="Strips of two curved passes steered by hand: they overlap by 0.3 m, give or take 0.35 m along the way.",
        passes_per_strip=2,
        curve_radius_m=350.0,
        overlap_m=0.3,
        overlap_sd_m=0.2,
        wander_m=0.35,
    ),
    replace(
        ORDINARY,
        name="headland_first",
        note="The headland is cut first; the header goes down 12 m before the crop and up as the crop ends.",
        headland_first=True,
        header_down_m=12.0,
        header_up_m=0.0,
    ),
    replace(
        ORDINARY, name="racetrack", note="Round and round: neighbouring passes run the same way.", path="racetrack"
    ),
    replace(ORDINARY, name="point_rows", note="The crop ends on a slant, so that passes run out of it.", end_slant=0.5),
    replace(ORDINARY, name="log_5_s", note="A record every 5 s.", record_s=5.0),
    replace(
        ORDINARY,
        name="recut",
        note="A second pass in each strip over ground that is nearly all cut.",
        passes_per_strip=2,
        narrow_last_share=0.1,
    ),
)

SCENARIOS: dict[str, Scenario] = {scenario.name: scenario for scenario in _ALL}
