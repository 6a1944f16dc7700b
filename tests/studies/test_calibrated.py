"""What a calibration is used for: a torque with its interval, the next measurement, the rider's share, and a build with the sensor."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from weighings import TRUTH, WARM, upwards

from unikit.formulas import calibration as formulas
from unikit.inputs import InputError, load_bench, load_build, load_case
from unikit.inputs import replace as replaced
from unikit.studies import calibrated, calibration, sensing, sensing_margins, torque_chain, weighed

DATA = Path(__file__).parents[2] / "data"
HILL = load_case(DATA / "cases" / "harbour_hill.toml")


@cache
def found():
    return calibration.study(load_bench(DATA / "bench" / "harbour_crank.toml"))


@cache
def build():
    return weighed.with_sensor(load_build(DATA / "builds" / "harbour_commuter.toml"))


def test_a_reading_of_the_sensor_is_a_torque_with_its_interval():
    """Drawn readings of the true sensor, on either way of a loop up to full scale: about 95 of 100 intervals hold the torque."""
    stream, made = np.random.default_rng(3), found()
    line = {name: getattr(TRUTH, name) for name in ("offset", "gain", "zero_drift", "gain_drift")}
    held = []
    for torque, warm, way, noise in zip(
        stream.uniform(5, 45, 300), stream.uniform(285, 315, 300), stream.choice([-1, 1], 300), stream.normal(size=300), strict=True
    ):
        acting = torque + way * formulas.loop_half_width(torque, made.full_scale, TRUTH.hysteresis) + TRUTH.scatter * noise
        reading = calibrated.torque_at(made, float(formulas.output(acting, warm, **line)), warm)
        held.append(reading.low < torque < reading.high)
    assert 0.9 < np.mean(held) <= 1.0
    assert calibrated.torque_at(made, made.offset, made.reference_temperature).torque == pytest.approx(0.0, abs=1e-9)


def test_what_is_nearest_to_the_error_helps_most():
    """A crank measured twice as well leaves of the gain's error what is reckoned by hand from the declared uncertainties."""
    after = calibrated.next_measurements(found())
    assert after.best("gain")[0] == "crank length twice as well"
    parts = np.array([0.4 / 131, 0.0012, 0.0005])
    halved = parts * [0.5, 1, 1]
    assert after.best("gain")[1] == pytest.approx(np.sqrt(np.sum(halved**2) / np.sum(parts**2)), abs=0.015)
    assert after.best("offset")[0] == "voltmeter twice as well"
    assert after.best("zero_drift")[0].startswith("a series 15 K") and after.best("gain_drift")[0].startswith("a series 15 K")
    assert np.all(after.gain < 1.001) and np.all(after.hysteresis < 1.001)
    assert after.rows()[1] == "gain: crank length twice as well leaves 61 % of the interval"


def test_a_warmer_series_tells_what_one_temperature_does_not():
    made = calibration.study(load_bench(DATA / "bench" / "harbour_crank.toml").without(*WARM))
    what, left = calibrated.next_measurements(made).best("zero_drift")
    assert what.startswith("a series 15 K") and left < 0.35


def test_the_rider_gets_what_the_sensor_gets_wrong():
    share, made = calibrated.for_the_rider(build(), found()), found()
    assert share.phantom_torque == pytest.approx(made.zero_drift * 18)
    assert share.phantom_at_rest == share.phantom_in_a_push == pytest.approx(0.34 * made.zero_drift * 18)
    assert share.heard == "the motor answers it at rest too"
    assert share.assist_gain_high / 0.34 == pytest.approx(made.gain_high / made.gain)
    assert share.assist_gain_warm == pytest.approx(0.34 * (1 + made.gain_drift * 18))
    assert share.scatter_torque == pytest.approx(1.959964 * made.repeatability, rel=1e-4)
    assert share.loop_torque == pytest.approx(made.hysteresis * made.full_scale)
    quiet = calibrated.for_the_rider(replaced(build(), {"sensor.chain.dead_band": 0.8}), found())
    assert quiet.phantom_at_rest == 0 and quiet.heard == "hidden at rest, not on top of a push"


@pytest.mark.parametrize(
    "change", [{}, {"sensor.location": "one crank"}, {"assist.resisting_gain.long": 0.5}, {"sensor.chain.dead_band": 0.8}]
)
def test_calibration_and_sensing_chain_tell_the_same_phantom_torque(change):
    one = calibrated.correct(replaced(build(), change), found())
    share, chain = calibrated.for_the_rider(one, found()), torque_chain.signal(one, one.gears.named())
    assert share.phantom_torque == pytest.approx(chain.drift) and share.phantom_in_a_push == pytest.approx(chain.phantom)
    step = chain.largest_gain * chain.step
    if chain.gain(1) >= chain.gain(-1):
        assert share.phantom_at_rest == pytest.approx(float(chain.command(chain.drift)), abs=step)
    else:
        assert share.phantom_at_rest == pytest.approx(-float(chain.command(-chain.drift)), abs=step)


def test_the_rider_is_told_what_is_missing():
    share = calibrated.for_the_rider(replaced(build(), {"sensor.chain.warming": None}), found())
    assert np.isnan(share.phantom_torque) and share.heard == "unknown: sensor.chain.warming is missing"
    record = load_bench(DATA / "bench" / "harbour_crank.toml")
    share = calibrated.for_the_rider(build(), calibration.study(record.without(*WARM)))
    assert share.heard == "unknown: the record does not tell the drift" and np.isnan(share.assist_gain_warm)
    share = calibrated.for_the_rider(build(), calibration.study(upwards(record)))
    assert np.isnan(share.loop_lag) and share.summary()["lag by the loop"] == "unknown"
    bare = replaced(load_build(DATA / "builds" / "harbour_commuter.toml"), {"assist": None, "sensor": None})
    with pytest.raises(ValueError, match="has no assist: nothing answers the sensor"):
        calibrated.for_the_rider(bare, found())


def test_a_build_gets_the_measured_sensor():
    made = calibrated.correct(build(), found())
    chain = made.sensor.chain
    assert chain.element == "rated" and chain.rated_torque == 60.0  # the rating of a bought element is not what happened to be hung
    assert chain.rated_output * chain.excitation * chain.amplifier_gain / chain.rated_torque == pytest.approx(found().gain)
    assert chain.rest_output == found().offset and chain.zero_drift == found().zero_drift
    mean, error = made.spreads["sensor.chain.rated_output"].parameters
    assert error / mean == pytest.approx((found().gain_high - found().gain_low) / 2 / 1.98 / found().gain, rel=0.01)
    assert "bench record 'Weights on the harbour crank'" in chain.source and "invented: a sensor as its page states it" in chain.source
    assert build().sensor.chain.rated_torque == 60.0


def test_a_shape_stays_for_its_strength_and_the_measured_output_counts():
    shaft = {
        "element": "hollow shaft",
        "shaft_diameter": "25 mm",
        "shaft_bore": "21 mm",
        "elastic_modulus": "206 GPa",
        "poisson_ratio": 0.29,
        "gauge_factor": 2.05,
        "gauge_resistance": "350 ohm",
        "element_yield": "620 MPa",
    }
    kept = {name: value for name, value in weighed.CHAIN.items() if name not in ("rated_torque", "rated_output")}
    before = replaced(build(), {"sensor.chain": kept | shaft})
    after = calibrated.correct(before, found())
    assert after.sensor.chain.element == "hollow shaft" and after.sensor.chain.rated_torque == found().full_scale
    one, was = (torque_chain.signal(made, made.gears.named()) for made in (after, before))
    assert one.sensitivity == pytest.approx(found().gain) and was.sensitivity != pytest.approx(found().gain, rel=0.01)
    assert (one.overload, one.stress, one.shaped) == (was.overload, was.stress, was.output) and one.overload == pytest.approx(
        4.49, abs=0.01
    )
    assert one.curvature == pytest.approx(0.0, abs=1e-9)
    assert dict((k, w) for k, _, w in sensing_margins.margins(after, HILL))["sensor element"] == "yield"
    with pytest.raises(ValueError, match="rated_output was measured on the element as it is"):
        sensing.size(after, HILL, change="bore")
    assert sensing.size(after, HILL, change="gain").reserve == pytest.approx(sensing.RESERVE)


def test_counts_are_carried_back_through_the_divider():
    class Counted:
        def __contains__(self, quantity):
            return quantity == "converter_counts"

    made = replace(found(), estimate=replace(found().estimate, fitted=(Counted(),)))
    divided = replaced(build(), {"sensor.chain.upper_resistor": "1000 ohm", "sensor.chain.lower_resistor": "4000 ohm"})
    plain = calibrated.correct(build(), made).sensor.chain
    assert plain.rated_output == calibrated.correct(divided, found()).sensor.chain.rated_output  # an output is that of the amplifier
    for chain in (calibrated.correct(build(), made, divider=0.8).sensor.chain, calibrated.correct(divided, made).sensor.chain):
        assert chain.rated_output == pytest.approx(plain.rated_output / 0.8) and chain.rest_output == pytest.approx(plain.rest_output / 0.8)
        assert chain.zero_drift == plain.zero_drift
    errors = [calibrated.correct(one, made).spreads["sensor.chain.rest_output"].parameters[1] for one in (divided, build())]
    assert errors[0] == pytest.approx(errors[1] / 0.8)
    mixed = replace(found(), estimate=replace(found().estimate, fitted=(Counted(), found().estimate.fitted[0])))
    with pytest.raises(ValueError, match="mixes outputs of the amplifier with counts, behind a divider of 0.800"):
        calibrated.correct(divided, mixed)
    assert calibrated.correct(build(), mixed).sensor.chain.rated_output == plain.rated_output


def test_a_reaction_member_takes_its_share_of_the_torque():
    at_sun = replaced(build(), {"sensor.location": "reaction member"})
    chain = calibrated.correct(at_sun, found()).sensor.chain
    share = 1 - 0.965 / 1.6338
    assert chain.rated_torque == 60.0 and chain.zero_drift == pytest.approx(found().zero_drift * share)
    assert chain.rated_output * share == pytest.approx(calibrated.correct(build(), found()).sensor.chain.rated_output)
    with pytest.raises(ValueError, match="in gear 'direct' the reaction member takes no torque"):
        calibrated.correct(replaced(at_sun, {"gears.engaged": "direct"}), found())


def test_what_does_not_fit_a_build_is_refused():
    with pytest.raises(ValueError, match=r"has no table \[sensor.chain\]"):
        calibrated.correct(replaced(build(), {"sensor.chain": None}), found())
    with pytest.raises(ValueError, match="the output falls with forward torque"):
        calibrated.correct(build(), replace(found(), gain=-0.015))
    with pytest.raises(ValueError, match="rated_output comes out as .*, and a build allows"):
        calibrated.correct(replaced(build(), {"sensor.chain.excitation": 0.1, "sensor.chain.amplifier_gain": 1}), found())
    untold = calibrated.correct(build(), replace(found(), zero_drift=None)).sensor.chain
    assert untold.zero_drift == 0.02 and "not from the weights: drift of the zero" in untold.source


def test_a_build_file_is_written_and_never_over_another(tmp_path):
    path = tmp_path / "weighed.toml"
    calibrated.write(build(), found(), path)
    back = load_build(path)
    assert back.sensor.chain.rated_output == pytest.approx(calibrated.correct(build(), found()).sensor.chain.rated_output, rel=1e-12)
    with pytest.raises(InputError, match="a file that exists already"):
        calibrated.write(build(), found(), path)
    calibrated.write(build(), found(), path, overwrite=True)


def test_the_finding_says_how_well_the_scale_is_known():
    (rule,) = calibrated.RULES
    key, margin, limit = calibrated.margins(calibrated.correct(build(), found()))[0]
    assert key == rule.key and margin == pytest.approx(0.05 / (1.96 * 0.00333), rel=0.02) and limit
    assert rule.verdict(margin) == "holds"
    for one, says in ((build(), "no spread"), (replaced(build(), {"sensor.chain": None}), "rated_output is missing")):
        ((key, margin, limit),) = calibrated.margins(one)
        assert np.isnan(margin) and rule.verdict(margin) == "unknown" and says in limit
