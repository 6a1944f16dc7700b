"""Lean by pulsing pedals: first numbers, what trim does, resonance and riders who do not balance."""

import numpy as np
import pytest
from machines import PDA_100
from published import published

from unikit.formulas import capture, reflex
from unikit.studies import loop as loops
from unikit.studies import ripple
from unikit.studies.catch import stand

from . import examples


def climb(trim="none"):
    return examples.case(air_temperature=294.15, speed=3.0, slope=0.03, trim=trim)


def test_first_numbers(monkeypatch):
    monkeypatch.setattr(loops, "habit", lambda build: PDA_100)  # the rider of the first computation, whose gains were rounded
    result, trimmed = (ripple.study(examples.first_machine(), climb(trim)) for trim in ("none", "level"))
    for row, lean in (
        (published("RIP-ungeared"), result.lean_ungeared),
        (published("RIP-restored"), result.lean),
        (published("RIP-trimmed"), trimmed.lean),
    ):
        assert np.degrees(lean) == pytest.approx(row.value, abs=row.tolerance)


def test_trim_takes_its_share_and_no_floor_no_pulse():
    result, trimmed = (ripple.study(examples.first_machine(), climb(trim)) for trim in ("none", "level"))
    assert trimmed.lean_untrimmed == pytest.approx(result.lean, rel=1e-12)
    assert trimmed.lean / result.lean == pytest.approx(abs(trimmed.pedal_torque) / result.pedal_torque, rel=1e-9)
    assert ripple.study(examples.first_machine(rider__torque_floor=1.0), climb()).lean == pytest.approx(0.0, abs=1e-12)


def test_the_resonance_is_where_a_pulse_of_the_same_size_rocks_most():
    build, case = examples.first_machine(gain=0.6), climb()
    result = ripple.study(build, case)
    gear, loop = build.gears.named(), loops.loop(build, case, build.gears.named())
    speeds = np.linspace(0.3, 8.0, 4001)
    found = stand(build, case, gear, speed=speeds)
    each = capture.ripple_lean(found.plant, loop.reflex, loop.path, loop.driving_leverage, 1.5, 0.6, 1.0, found.split.cadence, 0.2)
    assert result.resonance_speed == pytest.approx(speeds[np.argmax(each)], abs=0.02)
    assert result.resonance_frequency == pytest.approx(2 * result.resonance_speed / 0.36 / 1.5 / (2 * np.pi), rel=1e-12)


def test_the_adapted_rider_balances_the_gear_alone_like_an_ungeared_wheel():
    build, case = examples.first_machine(gain=0.0), climb()
    gear = build.gears.named()
    plain = loops.loop(build, case, gear)
    made = loops.adapted(build, gear, assisted=False)
    ideal = reflex.Path(0.0, np.inf, 0.0)
    margins = [float(reflex.loop_margins(plain.plant, one, ideal, plain.driving_leverage, 1.5, 0.0).vector) for one in (made, plain.reflex)]
    assert margins[0] > 0.25 and margins[0] > margins[1]
    trials = [made._replace(proportional=part * made.proportional) for part in (0.9, 1.1)]
    for trial in trials:
        assert float(reflex.loop_margins(plain.plant, trial, ideal, plain.driving_leverage, 1.5, 0.0).vector) < margins[0] + 1e-3


def test_a_rider_who_does_not_balance_has_no_ripple_and_is_told_so():
    result = ripple.study(examples.build("classroom_demonstrator"), climb())
    assert np.isnan(result.lean) and np.isnan(result.resonance_speed)
    assert result.stable == "does not balance with the gains as set"
    assert result.summary()["lean by the pulse, as set"] == "unknown"


def test_a_build_without_motor():
    result = ripple.study(examples.build("harbour_ungeared"), climb())
    np.testing.assert_allclose(result.lean_over_speed, result.ungeared_over_speed, rtol=1e-9)
    assert result.lean_alone == pytest.approx(result.lean_ungeared, rel=1e-6)
    with pytest.raises(ValueError, match="fastest must be a speed above"):
        ripple.study(examples.build(), climb(), fastest=0.1)
