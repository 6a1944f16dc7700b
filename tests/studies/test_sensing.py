"""The sensing chain of a build: walked by hand, simulated in time, and judged."""

import dataclasses
import math

import numpy as np
import pytest

from unikit.formulas import epicyclic
from unikit.formulas.converter import averaged_share
from unikit.formulas.reach import Limits
from unikit.inputs import load_build, load_case, replace
from unikit.studies import balance, sensing, sensing_margins, torque_chain
from unikit.studies.cranks import torque_per_degree
from unikit.studies.split import answer

BUILD, SMALL, PLAIN, BARE = (
    load_build(f"data/builds/{name}.toml")
    for name in ("harbour_commuter", "classroom_demonstrator", "harbour_ungeared", "harbour_measured")
)
HILL = load_case("data/cases/harbour_hill.toml")
FOUND = sensing.study(BUILD, HILL)


def changed(build=BUILD, **fields):
    return replace(build, {f"sensor.chain.{name}": value for name, value in fields.items()})


def signal(build=BUILD):
    return torque_chain.signal(build, build.gears.named())


RATED = changed(
    element="rated",
    rated_torque="150 N*m",
    rated_output="1.5 mV/V",
    **dict.fromkeys(
        ("shaft_diameter", "shaft_bore", "elastic_modulus", "poisson_ratio", "element_yield", "element_strength", "element_endurance"),
    ),
    **dict.fromkeys(("stress_concentration", "gauge_factor", "bridge")),
)


def by_hand(torque):
    """The commuter's chain in volts and codes, for one torque at the crank; the motor torque before cap and dead band."""
    modulus = 206e9 / 2.58
    twist = 16 * torque * 0.025 / (math.pi * (0.025**4 - 0.021**4)) / modulus
    volts = 1.4 + 360 * 3.3 * 2.05 * twist / 2
    volts = min(max(volts, 0.08), 3.2)
    code = min(max(round(volts / (3.3 / 4096)), 0), 4095)
    volts = min(max(code * 3.3 / 4096, 0.25), 3.05)
    scale = FOUND.scale if torque >= 0 else FOUND.scale_resisting
    return 20 * scale * (volts - 1.4)


def test_the_study_is_the_chain_walked_by_hand():
    one = signal()
    step = 1.01 * FOUND.gain * one.step  # the output at rest lies between two codes
    for torque in (-140.0, -116.0, -60.0, -5.0, 5.0, 40.0, 99.0):
        assert one.command(torque) == pytest.approx(np.clip(by_hand(torque), -34, 34), abs=step), torque
    assert FOUND.gain == pytest.approx(0.34)
    assert by_hand(FOUND.range * 1.001) == pytest.approx(by_hand(FOUND.range * 2), abs=step)
    assert by_hand(0.9 * FOUND.range) < by_hand(0.95 * FOUND.range)
    assert (FOUND.range_by, FOUND.range_back_by) == ("controller input", "controller input")
    assert FOUND.timing == "agree" and "open" in FOUND.agreement


def test_the_staircase_holds_the_same_numbers():
    stages = sensing.chain(BUILD, HILL)
    rows = dict(zip(stages.stage, zip(stages.per_newton_metre, stages.at_peak, stages.used, stages.used_back, strict=True), strict=True))
    assert rows["strain of a gauge"][1] == pytest.approx(FOUND.microstrain)
    assert rows["converter"][0] == pytest.approx(FOUND.sensitivity)
    assert rows["code"][1] == pytest.approx(4096 / 3.3 * rows["converter"][1])
    assert rows["controller input"][2] == pytest.approx(FOUND.peak / FOUND.range)
    assert rows["controller input"][3] == pytest.approx(FOUND.peak_back / FOUND.range_back)
    assert rows["commanded torque"][1] == pytest.approx(0.34 * FOUND.peak)
    assert rows["commanded torque"][2] == pytest.approx(FOUND.peak / FOUND.cap_push)
    assert stages.at_peak_back[-1] == pytest.approx(-0.22 * FOUND.peak_back)
    assert FOUND.weight_torque == pytest.approx(78 * 9.80665 * 0.131, rel=1e-3)
    hard = sensing.study(BUILD, HILL, share=1.0)
    assert hard.unanswered == pytest.approx(0.34 * FOUND.peak - 34.0, abs=1.01 * FOUND.resolution_wheel)
    assert signal().ends(torque_chain.BACK)["converter"] == pytest.approx(1.4 / FOUND.sensitivity)
    assert "range used [%]" in stages.table().columns


def test_a_stated_scale_is_held_against_the_gain():
    same = sensing.study(changed(input_scale=FOUND.scale), HILL)
    assert same.agreement == "agree" and same.gain == pytest.approx(0.34)
    more = sensing.study(changed(input_scale=1.5 * FOUND.scale), HILL)
    assert more.agreement == "disagree: the chain gives 1.50 times the build's"
    assert (more.gain, more.phantom, more.scale) == pytest.approx((0.51, 1.5 * FOUND.phantom, FOUND.scale))
    assert more.cap_push == pytest.approx(FOUND.cap_push / 1.5)


@pytest.mark.parametrize("location", ["one crank", "spindle"])
def test_the_command_over_a_turn_has_the_mean_that_the_split_counts_with(location):
    build = replace(changed(dead_band=None, converter_bits=24), {"sensor.location": location})
    angle = (np.arange(20_000) + 0.5) / 20_000 * 2 * np.pi
    floor = build.rider.torque_floor
    torque = 12.0 * (floor + (1 - floor) * np.abs(np.sin(angle))) / (floor + (1 - floor) * 2 / np.pi)
    felt = torque if location == "spindle" else np.where(np.sin(angle) > 0, torque, 0.0)
    wide = Limits(highest=500.0, lowest=-500.0, highest_by="none", lowest_by="none")
    mean = signal(build).command(felt).mean()
    assert mean == pytest.approx(float(answer(build, build.gears.named(), 12.0, wide)), rel=1e-4)
    assert mean == pytest.approx(0.34 * 12.0, rel=1e-4)


def test_one_crank_is_answered_twice_for_half_the_turn_and_the_cap_halves_what_a_hard_push_gets():
    one = replace(BUILD, {"sensor.location": "one crank"})
    found = sensing.study(one, HILL)
    assert found.felt == "one leg: gain 0.68 in its half of the turn, none in the other" and FOUND.felt == "both legs"
    assert (found.phantom, found.edge, found.cap_push) == pytest.approx((2 * FOUND.phantom, 2 * FOUND.edge, FOUND.cap_push / 2))
    half, whole = sensing.cost(one, HILL), sensing.cost(BUILD, HILL)
    assert half.gain == pytest.approx([0.68] * 3) and whole.gain == pytest.approx([0.34] * 3)
    told = sensing.cost(replace(BUILD, {"assist.driving_gain.long": 0.68, "assist.resisting_gain.long": 0.44}), HILL)
    assert half.dead_time_budget == pytest.approx(told.dead_time_budget)
    assert half.onset_gain == pytest.approx(whole.onset_gain)


def test_nobody_knows_which_way_a_zero_drifts_so_the_larger_gain_counts_up_to_the_cap():
    found = sensing.study(replace(BUILD, {"assist.resisting_gain.long": 0.5}), HILL)
    assert (found.phantom, found.edge) == pytest.approx((0.5 * found.drift, 0.5 * 0.8))
    margins = dict((key, margin) for key, margin, _ in sensing_margins.margins(replace(BUILD, {"assist.resisting_gain.long": 0.5}), HILL))
    assert margins["phantom torque"] == pytest.approx(1.5 / found.phantom)
    assert sensing.study(changed(zero_drift="9 N*m/K"), HILL).phantom == BUILD.assist.torque_cap


def test_a_reaction_member_feels_the_suns_share():
    held = epicyclic.reaction_torque(24, 54, fixed="sun", driver="carrier", driven="ring", driver_torque=1.0, efficiency=0.93)
    found = sensing.study(SMALL, HILL)
    assert found.location_share == pytest.approx(abs(held), rel=1e-4)  # the file's ratio is rounded
    at_crank = sensing.study(replace(SMALL, {"sensor.location": "spindle"}), HILL)
    assert found.sensitivity == pytest.approx(found.location_share * at_crank.sensitivity)
    assert found.drift == pytest.approx(0.02 * 12 / found.location_share)
    assert at_crank.scale == pytest.approx(found.location_share * found.scale)


def test_noise_is_that_of_a_chain_simulated_in_time():
    """White noise through the resistor and capacitor, sampled and averaged, step by step."""
    one, random, fine = signal(), np.random.default_rng(5), 20
    rate = 1000.0 * fine
    density = math.hypot(20e-9, math.sqrt(4 * 1.380649e-23 * 293.15 * 350))
    white = density * math.sqrt(rate / 2) * random.standard_normal(1_500_000)
    keep = math.exp(-2 * math.pi * one.corner / rate)
    passed, state = np.empty_like(white), 0.0
    for place, value in enumerate(white.tolist()):
        state = keep * state + (1 - keep) * value
        passed[place] = state
    samples = passed[::fine]
    averaged = np.convolve(samples, np.ones(8) / 8, "valid")[200:]
    # as torque: microvolts per newton metre of the bridge
    assert averaged.std() / (3.3 * one.output) == pytest.approx(one.noise, rel=0.04)


def test_resolution_and_effective_bits_by_another_way():
    quiet = sensing.study(changed(input_noise=0, gauge_resistance=None), HILL)
    assert quiet.effective_bits == pytest.approx(12 + math.log2((3.05 - 0.25) / 3.3))  # an ideal converter of which a part is used
    gauges = changed(input_noise=0, converter_bits=24)
    by_hand = math.sqrt(4 * 1.380649e-23 * 293.15 * 350 * math.pi / 2 * signal().corner) * float(averaged_share(8, 1000.0, signal().corner))
    assert signal(gauges).noise == pytest.approx(by_hand / (3.3 * signal().output))
    assert math.erfc(signal(gauges).resolution / signal(gauges).noise / 2 / math.sqrt(2)) == pytest.approx(1e-3, rel=0.05)


def test_what_is_not_stated_is_unknown_and_said():
    bare = sensing.study(
        changed(input_noise=None, zero_drift=None, sampling_frequency=None, averaged_samples=None, element_yield=None), HILL
    )
    assert all(math.isnan(getattr(bare, name)) for name in ("noise", "drift", "phantom", "dead_time", "overload"))
    assert bare.resolution == FOUND.resolution and "unknown without input_noise" in bare.resolution_by
    assert bare.phantom_rest == "unknown without zero_drift and warming"
    assert bare.timing == "agree as far as stated: nothing on the sampling"
    found = {key: (margin, words) for key, margin, words in sensing_margins.margins(changed(zero_drift=None), HILL)}
    assert math.isnan(found["phantom torque"][0]) and "zero_drift" in found["phantom torque"][1]
    found = dict((key, margin) for key, margin, _ in sensing_margins.margins(changed(element_yield=None, element_endurance=None), HILL))
    assert math.isnan(found["sensor element"]) and found["sensor range"] > 1


@pytest.mark.parametrize(
    ("build", "words"), [(PLAIN, "has no motor: the sensing study needs one"), (BARE, r"no \[sensor.chain\]; the sensing study needs that")]
)
def test_a_build_without_chain_is_told_so(build, words):
    with pytest.raises(ValueError, match=words):
        sensing.study(build, HILL)
    found = sensing_margins.margins(build, HILL)
    assert [key for key, *_ in found] == [rule.key for rule in sensing_margins.RULES]
    assert all(math.isnan(margin) and words for _, margin, words in found)


def test_a_gear_that_turns_as_one_piece_leaves_nothing_at_its_reaction_member():
    with pytest.raises(ValueError, match="feels nothing, unless the gear steps up"):
        sensing.study(SMALL, HILL, SMALL.gears.named("direct"))
    found = dict((key, margin) for key, margin, _ in sensing_margins.margins(BUILD, HILL, BUILD.gears.named("direct")))
    assert found["phantom torque"] == found["torque resolution"] == math.inf and found["sensor range"] == pytest.approx(
        FOUND.range_back / FOUND.peak_back
    )


def test_margins_are_the_quotients_that_the_table_says():
    found = {key: (margin, words) for key, margin, words in sensing_margins.margins(BUILD, HILL)}
    assert found["sensor range"][0] == pytest.approx(min(FOUND.range / FOUND.peak, FOUND.range_back / FOUND.peak_back))
    assert found["torque resolution"] == (
        pytest.approx(0.1 * torque_per_degree(BUILD, HILL.slope) / FOUND.edge),
        "edge of the dead band",
    )
    assert found["phantom torque"] == (pytest.approx(BUILD.assist.trim_step / FOUND.phantom), "against one trim step")
    free = {key: (margin, words) for key, margin, words in sensing_margins.margins(replace(BUILD, {"assist.trim_step": 0}), HILL)}
    rolls = BUILD.total_mass * 9.80665 * BUILD.wheel.rolling_coefficient + BUILD.wheel.bearing_drag
    assert free["phantom torque"] == (pytest.approx(BUILD.wheel.radius * rolls / FOUND.phantom, rel=1e-3), "against rolling on the level")
    assert found["sensor element"] == (pytest.approx(min(FOUND.overload, FOUND.fatigue)), "fatigue")
    stated = 1 / (2 * math.pi * 18) + 0.009
    assert found["sensor timing"][0] == pytest.approx(stated / (1 / (2 * math.pi * FOUND.corner) + FOUND.dead_time))
    slow = {key: margin for key, margin, _ in sensing_margins.margins(changed(averaged_samples=64), HILL)}
    assert slow["sensor timing"] == pytest.approx(stated / (1 / (2 * math.pi * FOUND.corner) + FOUND.dead_time + 0.028))
    assert math.isnan({key: margin for key, margin, _ in sensing_margins.margins(changed(filter_capacitor=None), HILL)}["sensor timing"])
    strong = dict(
        (key, margin) for key, margin, _ in sensing_margins.margins(replace(BUILD, {"rider.zero_cadence_torque": "150 N*m"}), HILL)
    )
    assert strong["sensor range"] == pytest.approx(found["sensor range"][0] * 95 / 150) and strong["sensor range"] < 1


def test_a_sensor_that_is_too_small_for_the_rider_is_short():
    rule = {rule.key: rule for rule in sensing_margins.RULES}["sensor range"]
    margin = dict((key, margin) for key, margin, _ in sensing_margins.margins(changed(amplifier_gain=600), HILL))["sensor range"]
    assert rule.verdict(margin) == "short"
    assert rule.verdict(float("nan")) == "unknown"


def test_fatigue_and_yield_by_the_books_way():
    shear = 16 * 1.0 * 0.025 / (math.pi * (0.025**4 - 0.021**4))
    forward, back = FOUND.peak, FOUND.peak_back
    assert FOUND.overload == pytest.approx(620e6 / (math.sqrt(3) * shear * forward))
    alternating, mean = (1.4 * math.sqrt(3) * shear * half for half in ((forward + back) / 2, (forward - back) / 2))
    assert 1 / FOUND.fatigue == pytest.approx(alternating / 260e6 + mean / 780e6)
    arm = sensing.study(SMALL, HILL)
    root = 6 * arm.location_share * arm.peak / (0.008 * 0.008**2)  # all of the torque, not only what bends the gauges
    assert arm.overload == pytest.approx(240e6 / root)


def test_a_rated_element_needs_no_measures():
    found = sensing.study(RATED, HILL)
    assert found.sensitivity == pytest.approx(1.5e-3 / 150 * 3.3 * 360)
    assert math.isnan(found.microstrain) and found.overload == pytest.approx(150 / found.peak)
    assert dict((k, w) for k, _, w in sensing_margins.margins(RATED, HILL))["sensor element"] == "rated torque"


def test_a_quarter_bridge_bends_and_needs_four_times_the_gain():
    found = sensing.study(changed(bridge="quarter"), HILL)
    assert found.sensitivity == pytest.approx(FOUND.sensitivity / 4)
    assert found.curvature == pytest.approx(2.05 * 1e-6 * found.microstrain / 2, rel=1e-6) and FOUND.curvature == pytest.approx(
        0, abs=1e-12
    )


def test_a_loaded_divider_lowers_sensitivity_and_corner_alike():
    found = sensing.study(changed(lower_resistor="100000 ohm", converter_resistance="100000 ohm"), HILL)
    share = 50e3 / (8870 + 50e3)
    assert found.sensitivity == pytest.approx(share * FOUND.sensitivity)
    assert found.corner == pytest.approx(FOUND.corner / share)
    assert found.timing.startswith("disagree: the filter's parts give 21.1 Hz")


def test_times_that_disagree_are_told():
    found = sensing.study(changed(averaged_samples=32, processing_time="5 ms"), HILL)
    assert found.timing == "disagree: sampling, average and computing take 21.0 ms"


def test_a_broken_wire_commands_what_the_rail_stands_for():
    one = signal()
    for way, sign in ((torque_chain.FORWARD, 1), (torque_chain.BACK, -1)):
        assert one.fault(way) == pytest.approx(abs(float(one.command(sign * 1e4))))
    assert FOUND.fault_high == 34.0 and "150 mV" in FOUND.fault
    blind = sensing.study(changed(input_high="3.25 V"), HILL)
    assert blind.fault_window == pytest.approx(-0.05) and blind.fault.startswith("cannot be told")
    assert (blind.range_by, blind.range) == ("amplifier", pytest.approx(1.8 / FOUND.sensitivity))


def test_drift_within_the_dead_band_stays_hidden_at_rest_alone():
    hidden = sensing.study(changed(dead_band="1.1 N*m"), HILL)
    assert hidden.phantom_rest.startswith("the dead band keeps it") and hidden.phantom == FOUND.phantom
    assert signal(changed(dead_band="1.1 N*m")).command(FOUND.drift) == 0.0
    assert signal().command(FOUND.drift) == pytest.approx(FOUND.phantom, abs=FOUND.gain * signal().step)


@pytest.mark.parametrize("change", ["gain", "bore", "diameter"])
@pytest.mark.parametrize("reserve", [1.1, 1.6])
def test_sizing_meets_the_reserve(change, reserve):
    made = sensing.size(BUILD, HILL, change=change, reserve=reserve)
    after = sensing.study(made.build, HILL)
    assert made.reserve == pytest.approx(reserve)
    assert min(after.range / after.peak, after.range_back / after.peak_back) == pytest.approx(reserve)
    assert made.overload == pytest.approx(after.overload) and (change != "gain" or made.overload == pytest.approx(FOUND.overload))
    even = sensing.study(replace(made.build, {"sensor.chain.rest_output": made.rest}), HILL)
    assert even.range / even.peak == pytest.approx(even.range_back / even.peak_back)


def test_sizing_an_arm_and_what_cannot_be_sized():
    assert sensing.size(SMALL, HILL, change="height").reserve == pytest.approx(1.3)
    for change, build, words in (
        ("height", BUILD, "needs sensor.chain.arm_height"),
        ("bore", SMALL, "needs sensor.chain.shaft_bore"),
        ("length", BUILD, "change must be one of"),
    ):
        with pytest.raises(ValueError, match=words):
            sensing.size(build, HILL, change=change)
    with pytest.raises(ValueError, match="reserve must be above 0"):
        sensing.size(BUILD, HILL, reserve=0.0)
    with pytest.raises(ValueError, match="solid it is strained more"):
        sensing.size(changed(amplifier_gain=5000), HILL, change="bore", reserve=5.0)


def test_the_cost_is_that_of_the_balance_study():
    found = sensing.cost(BUILD, HILL)
    stated = balance.study(BUILD, HILL)
    assert (found.onset_gain[0], found.dead_time_budget[0]) == pytest.approx((stated.onset_gain, stated.dead_time_budget))
    slow = sensing.cost(changed(averaged_samples=32), HILL)
    told = balance.study(replace(BUILD, {"sensor.dead_time": slow.dead_time[1], "sensor.filter_corner": slow.filter_corner[1]}), HILL)
    assert slow.onset_gain[1] == pytest.approx(told.onset_gain) and slow.onset_gain[1] < found.onset_gain[1] < found.onset_gain[2]
    assert slow.dead_time_budget[1] == pytest.approx(told.dead_time_budget)


def test_a_chain_too_late_for_any_balance_is_told_so():
    with pytest.raises(ValueError, match=r"the chain's parts are 2\.05 s late, and the balance study goes up to 2 s"):
        sensing.cost(changed(averaged_samples=4096), HILL)


def test_a_motor_that_answers_nothing_and_a_column_of_builds():
    still = replace(BUILD, {"assist.torque_cap": 0})
    assert sensing.study(still, HILL).phantom == 0.0 and sensing.chain(still, HILL).used[-1] == math.inf
    column = replace(BUILD, {"sensor.chain.shaft_bore": np.array([0.020, 0.021])})
    with pytest.raises(ValueError, match="holds a column of variants: the sensing study takes one at a time"):
        sensing.study(column, HILL)


def test_results_are_frozen_and_print():
    with pytest.raises(dataclasses.FrozenInstanceError):
        FOUND.gain = 1.0
    assert FOUND.summary()["rider's hardest push"].endswith("N·m")
    assert len(FOUND.table()) == sensing.PUSHES[1]
