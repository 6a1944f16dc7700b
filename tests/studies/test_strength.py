"""What the hub bears: loads by hand, factors against their definitions, what is missing, and what would mend it."""

import dataclasses

import numpy as np
import pytest

from unikit.formulas import bearings, epicyclic, pedalling, shafts, teeth
from unikit.inputs import InputError, load_build, load_case, replace
from unikit.studies import hub_checks, hub_loads, strength, train
from unikit.studies.verdicts import SHORT, TIGHT

GEARED = "gears.gear.long"


@pytest.fixture
def build(root):
    return load_build(root / "data/builds/harbour_commuter.toml")


@pytest.fixture
def hill(root):
    return load_case(root / "data/cases/harbour_hill.toml")


def factor(result, part):
    return float(result.factor[list(result.part).index(part)])


def test_loads_by_hand(build, hill):
    found = strength.study(build, hill)
    hub, gear = build.hub, build.gears.named("long")
    peak = 95.0 * 131 / 143 / (0.2 + 0.8 * 2 / np.pi)
    assert found.crank_hardest == pytest.approx(peak) and found.crank_shock == pytest.approx(1.5 * peak)
    # what does not reach the wheel is held by the sun: the wheel gets the efficiency over the ratio
    assert found.sun_torque == pytest.approx(1.5 * peak * (1 - gear.efficiency * 71 / 116))
    assert found.motor_torque == pytest.approx(0.95 * 62) and found.axle_torque == pytest.approx(found.sun_torque + 58.9)
    rolling = hill.speed / build.wheel.radius / gear.ratio * 1.25e-3 * 45 / 2
    each = found.sun_torque / (1.25e-3 * 45 / 2) / 4 * 1.35
    assert found.tooth_force == pytest.approx(each * 1.25 * (3.56 + np.sqrt(rolling)) / 3.56)
    # the pin carries the whole torque of the carrier, at the radius of the planets' circle
    assert found.pin_force == pytest.approx(found.crank_shock / (1.25e-3 * (45 + 13) / 2) / 4 * 1.35)
    assert found.arm_end_force == pytest.approx(found.axle_torque / 0.11)
    assert found.drop_force == pytest.approx(hub.drop_factor * build.body_mass * 9.81)


def test_sun_and_ring_push_a_planet_alike(build, hill):
    found, gear = strength.study(build, hill), build.gears.named("long")
    torques = epicyclic.member_torques(gear.sun_teeth, gear.ring_teeth, "carrier", found.crank_shock)
    at_sun, at_ring = -torques.sun / gear.sun_teeth, -torques.ring / gear.ring_teeth
    assert at_sun == pytest.approx(at_ring) and at_sun > 0


def test_contact_is_that_of_the_study_of_the_train(build, hill):
    """Also with planets whose flanks end early, where the ring's tips are shortened and the sun meets a flank that has ended."""
    long = build.gears.named("long")
    for shift in (0.0, 0.3, 0.6):
        gear = dataclasses.replace(long, planet_shift=shift)
        made = train.study(build, hill, gear)
        assert hub_loads.tips(gear).overlaps == pytest.approx((made.sun_contact, made.ring_contact), rel=1e-12)


def test_the_example_has_one_short_part_and_one_tight(build, hill):
    found = strength.study(build, hill)
    assert found.weakest == "key, pressure on its sides" and 0.8 < found.weakest_factor < 1.0
    margins = {key: (margin, words) for key, margin, words in strength.margins(build, hill)}
    rules = {rule.key: rule for rule in strength.RULES}
    assert list(margins) == list(rules)
    verdicts = {key: rules[key].verdict(margin) for key, (margin, _) in margins.items()}
    assert verdicts == {"teeth": TIGHT, "axle and seat": SHORT, "bearings": "holds"}
    assert margins["axle and seat"] == (found.weakest_factor, found.weakest)


def test_margins_take_a_torque_that_is_known_already(build, hill):
    again = strength.margins(build, hill, crank_mean=strength.study(build, hill).crank_mean)
    assert again == strength.margins(build, hill)


@pytest.mark.parametrize("shock", [1.2, 2.5])
def test_a_factor_is_what_all_loads_may_grow_by(build, hill, shock):
    """Everything that hangs on the push alone reaches its limit when the shock is multiplied by its factor."""
    stated = replace(build, {"hub.shock_factor": shock})
    found = strength.study(stated, hill)
    alone = [part for part, group in zip(found.part, found.group, strict=True) if group in ("teeth", "seat")] + ["planet bearing, at rest"]
    for part in alone:
        grown = shock * factor(found, part)
        if not 1 <= grown <= 6:
            continue
        at_limit = strength.study(replace(build, {"hub.shock_factor": grown}), hill)
        assert factor(at_limit, part) == pytest.approx(1.0, rel=1e-9), part


def test_stresses_from_formulas(build, hill):
    found, gear, hub = strength.study(build, hill), build.gears.named("long"), build.hub
    steel = teeth.elastic_coefficient(206e9, 0.3, 206e9, 0.3)
    small, ring = 1.25e-3 * 13 / 2, 1.25e-3 * 71 / 2
    tips = hub_loads.tips(gear)
    pressure = teeth.contact_stress(found.tooth_force, 0.014, small, ring, np.radians(20), steel, True)
    pressure *= teeth.single_contact_factor(13, 71, np.radians(20), tips.planet_in_ring, True)
    assert factor(found, "flanks of planet and ring") == pytest.approx((1450e6 / pressure) ** 2)
    tip = tips.planet, tips.planet_in_ring
    form = [teeth.geometry_factor(13.0, 0.3, overlap, one) for overlap, one in zip(tips.overlaps, tip, strict=True)]
    worse = teeth.root_stress(found.tooth_force, 1.25e-3, 0.014, min(form))
    assert factor(found, "planet's tooth, bending both ways") == pytest.approx(0.7 * hub.tooth_bending_limit / worse)
    inner, outer = tips.overlaps
    on_sun = teeth.root_stress(found.tooth_force, 1.25e-3, 0.014, teeth.geometry_factor(45.0, -0.3, inner, tips.sun))
    assert factor(found, "sun's tooth, bending") == pytest.approx(620e6 / on_sun)
    rack = teeth.root_stress(found.tooth_force, 1.25e-3, 0.014, teeth.geometry_factor(2000.0, 0.0, outer, tips.ring))
    assert factor(found, "ring's tooth, bending") == pytest.approx(620e6 / rack)
    for stress, count in ((found.sun_lewis, 45), (found.planet_lewis, 13), (found.ring_lewis, np.inf)):
        assert stress == pytest.approx(teeth.lewis_bending_stress(found.tooth_force, 1.25e-3, 0.014, teeth.lewis_form_factor(count)))
    assert factor(found, "key, pressure on its sides") == pytest.approx(150e6 / (4 * found.sun_torque / (0.028 * 0.004 * 0.015)))
    bent = 32 * (found.drop_force / 2 * 0.034) * 0.028 / (np.pi * (0.028**4 - 0.022**4))
    twisted = 16 * found.axle_torque * 0.028 / (np.pi * (0.028**4 - 0.022**4))
    assert factor(found, "axle, yield in a drop") == pytest.approx(650e6 / np.hypot(bent, np.sqrt(3) * twisted))
    # fatigue: the sun's torque one way, the motor's asked torque or a resisted push the other way, each push against 9 N*m of trim
    push = found.sun_torque / 1.5 + 9
    back = max(0.7 * found.sun_torque / 1.5 + 9, 34.0)
    per = twisted / found.axle_torque
    alternating = np.hypot(2 * bent / 2, np.sqrt(3) * 1.7 * per * (push + back) / 2)
    mean = np.hypot(2 * bent / 2, np.sqrt(3) * 1.7 * per * (push - back) / 2)
    assert factor(found, "axle, fatigue") == pytest.approx(1 / (alternating / 290e6 + mean / 900e6))


def test_a_sun_smaller_than_its_planets_has_the_worse_flank(build, hill):
    small = {"sun_teeth": 18, "planet_teeth": 24, "ring_teeth": 66, "planets": 3, "planet_shift": 0.0, "ratio": 84 / 66}
    gear = (other := replace(build, {f"{GEARED}.{name}": value for name, value in small.items()})).gears.named("long")
    tips, angle = hub_loads.tips(gear), np.radians(20)
    on_planet = teeth.single_contact_factor(24, 18, angle, tips.planet)
    on_sun = teeth.single_contact_factor(18, 24, angle, tips.sun)
    assert on_sun > on_planet
    found, steel = strength.study(other, hill), teeth.elastic_coefficient(206e9, 0.3, 206e9, 0.3)
    at_pitch = teeth.contact_stress(found.tooth_force, 0.014, 1.25e-3 * 12, 1.25e-3 * 9, angle, steel)
    assert factor(found, "flanks of sun and planet") == pytest.approx((1450e6 / at_pitch / on_sun) ** 2)


def test_any_train_is_answered(build, hill):
    random = np.random.default_rng(7)
    told = 0
    for _ in range(120):
        sun, planet = (int(one) for one in random.integers(6, 60, 2))
        counts = {"sun_teeth": sun, "planet_teeth": planet, "ring_teeth": sun + 2 * planet, "ratio": 1 + sun / (sun + 2 * planet)}
        number = random.choice([one for one in range(1, 7) if (2 * sun + 2 * planet) % one == 0])
        counts |= {"planets": int(number), "planet_shift": float(random.uniform(-0.8, 0.8))}
        try:
            gear = dataclasses.replace(build.gears.named("long"), **counts)
        except InputError as refused:
            assert "planet" in str(refused)  # planets that collide
            continue
        found = strength.study(build, hill, gear)
        own = found.factor[found.group == "teeth"]
        told += not np.isnan(own).any()
        assert (own[~np.isnan(own)] >= 0).all() and (np.isnan(own).all() or found.unknown == "nothing")
        assert not np.isnan(found.pin_force) and 0.9 < found.mesh_efficiency <= 1 or np.isnan(found.mesh_efficiency)
    assert told > 40


def test_bearing_lives_from_turns_and_damage(build, hill):
    found, gear, hub = strength.study(build, hill), build.gears.named("long"), build.hub
    half = build.body_mass * 9.81 / 2
    for name, kind in (("hub", "ball"),):
        load = (0.998 * half**3 + 0.002 * (3 * half) ** 3) ** (1 / 3)
        assert found.hub_life == pytest.approx(1e6 * (9500 / load) ** 3 * build.wheel.circumference)
        assert factor(found, f"{name} bearing, life") == pytest.approx((found.hub_life / 1e7) ** (1 / bearings.life_exponent(kind)))
    # planets: damage summed over a finely divided turn of the cranks, with the turns they make against the carrier
    angle = (np.arange(20_000) + 0.5) * np.pi / 20_000
    pin = found.pin_force * found.crank_mean / found.crank_shock * pedalling.torque_shape(angle, build.rider.torque_floor)
    power = 10 / 3
    damage = 0.998 * np.mean((pin / 4200) ** power) + 0.002 * (found.pin_force / 4200) ** power
    turns_for_a_wheel_turn = 45 / 13 / gear.ratio
    assert found.planet_life == pytest.approx(1e6 / damage / turns_for_a_wheel_turn * build.wheel.circumference, rel=1e-3)
    foot = found.crank_shock / build.cranks.length
    assert factor(found, "crank bearing, at rest") == pytest.approx(hub.crank_bearing_static / (foot * (1 + 78 / 96)))


def test_crank_bearings_carry_each_foot_for_half_a_turn(build, hill):
    found, hub, gear = strength.study(build, hill), build.hub, build.gears.named("long")
    angle = (np.arange(20_000) + 0.5) * np.pi / 20_000
    foot = found.crank_mean / build.cranks.length * pedalling.torque_shape(angle, build.rider.torque_floor)
    over = hub.pedal_overhang / hub.crank_bearing_spacing
    hardest = found.crank_shock / build.cranks.length * (1 + over)
    # a bearing has its own foot for half of the turn, and for the other half the far one, which lifts it
    damage = 0.998 * (np.mean(((1 + over) * foot) ** 3) + np.mean((over * foot) ** 3)) / 2 + 0.002 * hardest**3
    turns = 1 / gear.ratio  # for a turn of the wheel
    assert found.crank_life == pytest.approx(1e6 * 7900**3 / damage / turns * build.wheel.circumference, rel=1e-3)


def test_a_landing_on_both_pedals_may_be_the_hardest_for_the_crank_bearings(build, hill):
    hard = replace(build, {"hub.drop_factor": 8.0, "hub.shock_factor": 1.0})
    found = strength.study(hard, hill)
    assert factor(found, "crank bearing, at rest") == pytest.approx(4400 / (8 * 78 * 9.81 / 2))


def test_one_planet_has_none_to_share_with(build, hill):
    gear = dataclasses.replace(build.gears.named("long"), planets=1)
    found = strength.study(build, hill, gear)
    assert found.pin_force == pytest.approx(found.crank_shock / (1.25e-3 * (45 + 13) / 2))


def test_direct_gear_loads_no_tooth_but_axle_and_bearings(build, hill):
    direct = build.gears.named("direct")
    found = strength.study(build, hill, direct)
    assert found.sun_torque == 0.0 and found.axle_torque == pytest.approx(58.9) and found.mesh_efficiency == 1.0
    assert all(np.isinf(one) for one, group in zip(found.factor, found.group, strict=True) if group in ("teeth", "seat"))
    assert found.weakest == "crank bearing, at rest" and found.planet_life == np.inf
    assert {row[0]: row[1] for row in strength.margins(build, hill, direct)}["teeth"] == np.inf


@pytest.mark.parametrize("name", ["harbour_ungeared", "harbour_measured", "classroom_demonstrator"])
def test_a_build_without_a_hub_says_so(root, hill, name):
    plain = replace(load_build(root / f"data/builds/{name}.toml"), {})
    plain = dataclasses.replace(plain, hub=None)
    found = strength.study(plain, hill)
    assert "[hub]" in found.unknown and not np.isnan(found.crank_shock) and "shock_factor 1.5" in found.assumed
    assert all(np.isnan(margin) and "does not describe its hub" in words for _, margin, words in strength.margins(plain, hill))
    assert np.isnan(strength.needed(plain, hill).seat_length)
    assert found.weakest == "unknown" and np.isnan(found.weakest_factor)


MISSING = {
    "hub.tooth_contact_limit": ("teeth", "flanks of sun and planet"),
    "hub.tooth_bending_limit": ("teeth", "sun's tooth, bending"),
    "hub.key_shear_limit": ("axle and seat", "key, shear"),
    "hub.axle_endurance": ("axle and seat", "axle, fatigue"),
    "hub.arm_bolt_limit": ("axle and seat", "bolts of the torque arm"),
    "hub.wanted_life": ("bearings", "hub bearing, life"),
    f"{GEARED}.module": ("teeth", "ring's tooth, bending"),
    f"{GEARED}.face_width": ("teeth", "ring's tooth, bending"),
}


@pytest.mark.parametrize("path", MISSING)
def test_a_missing_field_makes_its_finding_unknown_and_is_named(build, hill, path):
    key, part = MISSING[path]
    less = replace(build, {path: None})
    found = strength.study(less, hill)
    assert np.isnan(factor(found, part)) and path in found.unknown
    assert found.bears[list(found.part).index(part)] == "unknown"
    told = {one: (margin, words) for one, margin, words in strength.margins(less, hill)}
    assert np.isnan(told[key][0]) and path in told[key][1]
    assert dict(found.summary())["unknown because not stated"] != "nothing"


def test_a_gear_that_does_not_state_its_teeth_says_so(build, hill):
    unstated = replace(build, {f"{GEARED}.ratio": 1.5})
    found = strength.study(unstated, hill)
    assert "gear 'long' does not state its teeth" in found.unknown and np.isnan(found.axle_torque)


@pytest.mark.parametrize("wanted", [1.0, 1.5])
def test_what_is_needed_gives_the_wanted_factor(build, hill, wanted):
    sizes = strength.needed(build, hill, factor=wanted)
    worst = lambda result, group: min(float(one) for one, own in zip(result.factor, result.group, strict=True) if own == group)
    after = lambda path, value: strength.study(replace(build, {path: value}), hill)
    assert worst(after(f"{GEARED}.face_width", sizes.face_width), "teeth") == pytest.approx(wanted, rel=1e-9)
    # the velocity factor grows a little with the pitch circle
    assert worst(after(f"{GEARED}.module", sizes.module), "teeth") == pytest.approx(wanted, rel=0.02)
    assert worst(after("hub.seat_length", sizes.seat_length), "seat") == pytest.approx(wanted, rel=1e-9)
    assert worst(after("hub.arm_bolt_spacing", sizes.arm_bolt_spacing), "torque arm") == pytest.approx(wanted, rel=1e-9)
    assert worst(after("hub.axle_diameter", sizes.axle_diameter), "axle") == pytest.approx(wanted, rel=1e-3)
    for name in hub_checks.BEARING_NAMES:
        for rating, state in (("dynamic", "life"), ("static", "at rest")):
            made = after(f"hub.{name}_{rating}", getattr(sizes, f"{name}_{rating}"))
            assert factor(made, f"{name.replace('_', ' ')}, {state}") == pytest.approx(wanted, rel=1e-9)


def test_spline_one_piece_and_a_single_bolt(build, hill):
    no_key = dict.fromkeys(("hub.key_width", "hub.key_height", "hub.key_shear_limit", "hub.seat_diameter"))
    spline = {"hub.sun_seat": "spline", "hub.spline_teeth": 8, "hub.spline_outer": 0.028, "hub.spline_inner": 0.0255}
    found = strength.study(replace(build, no_key | spline), hill)
    pressure = shafts.spline_pressure(found.sun_torque, 8, 0.028, 0.0255, 0.015)
    assert factor(found, "spline, pressure on its sides") == pytest.approx(150e6 / pressure)
    bare = no_key | {"hub.sun_seat": "one piece", "hub.seat_length": None, "hub.seat_pressure_limit": None}
    found = strength.study(replace(build, bare), hill)
    assert "seat" not in set(found.group) and np.isnan(strength.needed(replace(build, bare), hill).seat_length)
    found = strength.study(replace(build, {"hub.arm_bolt_spacing": None}), hill)
    assert factor(found, "bolt of the torque arm") == pytest.approx(6500 * 0.11 / found.axle_torque)


def test_efficiency_by_friction_is_above_the_stated_one_and_falls_with_friction(build, hill):
    found = [strength.study(replace(build, {"hub.mesh_friction": one}), hill).mesh_efficiency for one in (0.04, 0.08, 0.16)]
    assert found == sorted(found, reverse=True) and found[1] > build.gears.named("long").efficiency
    assert (1 - found[2]) / (1 - found[0]) == pytest.approx(4.0, rel=0.02)
    # both meshes lose: the share of the power that the meshes carry as the carrier sees it, times what each loses
    tooth, per = hub_loads.tips(build.gears.named("long")), np.pi * 0.08
    loss = lambda one, other, mate, way: per * (1 / 13 + way / mate) * (one**2 + other**2 + 1 - one - other)
    both = loss(tooth.planet, tooth.sun, 45, 1) + loss(tooth.planet_in_ring, tooth.ring, 71, -1)
    assert 1 - found[1] == pytest.approx(both * 45 / 116, rel=0.02)


def test_the_way_names_every_place_with_its_worst_part(build, hill):
    found = strength.study(build, hill)
    way = {place: (least, part) for place, least, part in found.along()}
    assert list(way) == list(strength.PLACES)
    assert way["seat of the sun"] == (found.weakest_factor, found.weakest)
    assert min(least for least, _ in way.values()) == found.weakest_factor


def test_the_caution_is_part_of_the_result(build, hill):
    said = strength.study(build, hill).summary()["caution"]
    assert "competent engineer" in said and "throws the rider" in said
