"""Windings: what a turn count cannot change, and second routes to star, delta and eddy currents."""

import math

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from published import published

from unikit.formulas import motor, winding

DEPTH = 1e-3


def agrees(row, value):
    assert float(value) == pytest.approx(row.value, abs=row.tolerance, rel=0)


def test_twice_the_turns_cost_the_same_and_have_the_same_motor_constant():
    before = winding.rewound(0.5 / math.sqrt(2), 0.05, 1e-4, 1.0)
    after = winding.rewound(*before, 2.0)
    for coils, current in ((before, 20.0), (after, 10.0)):
        agrees(published("M-20 rewound"), motor.copper_loss_line(current, 2 * coils.phase_resistance))
        agrees(published("M-21 rewound"), motor.motor_constant(math.sqrt(2) * coils.torque_constant_peak, 2 * coils.phase_resistance))
    assert (after.torque_constant_peak, after.phase_resistance) == pytest.approx((2 * before.torque_constant_peak, 0.2))


def test_copper_loss_for_a_torque_depends_on_copper_alone():
    some = np.random.default_rng(7).uniform
    turns, copper, constant, resistance, torque = (
        np.exp(some(np.log(low), np.log(high), 400)) for low, high in ((0.1, 10), (0.3, 3), (0.01, 5), (1e-3, 5), (0.1, 90))
    )
    before = winding.Coils(constant, resistance, 1e-3)
    after = winding.rewound(*before, turns, copper)
    loss = [
        motor.copper_loss(motor.current_for_torque(torque, coils.torque_constant_peak), coils.phase_resistance) for coils in (before, after)
    ]
    assert loss[1] * copper == pytest.approx(loss[0], rel=1e-12)
    assert after.inductance / after.phase_resistance == pytest.approx(copper * before.inductance / before.phase_resistance, rel=1e-12)
    for part, first in zip(winding.rewound(*after, 1 / turns, 1 / copper), before, strict=True):
        assert part == pytest.approx(first, rel=1e-12)


@pytest.mark.checks("independent", "winding.same_field_current", "winding.rewound")
def test_the_same_field_is_the_same_ampere_turns_and_the_same_stored_energy():
    """N I and L I² / 2 stay: a field does not know of how many turns it is made."""
    for turns in (0.4, 1.0, 2.7):
        current = winding.same_field_current(50.0, turns)
        assert turns * current == pytest.approx(50.0)
        assert winding.rewound(1.0, 0.1, 1e-3, turns).inductance * current**2 == pytest.approx(1e-3 * 50.0**2)


def _between_leads(branches):
    """Resistance between leads 0 and 1 of a network of (node, node, resistance), by its node equations."""
    size = 1 + max(node for a, b, _ in branches for node in (a, b))
    matrix = np.zeros((size, size))
    for a, b, resistance in branches:
        matrix[[a, b], [a, b]] += 1 / resistance
        matrix[[a, b], [b, a]] -= 1 / resistance
    driven = np.zeros(size - 1)
    driven[0] = 1.0
    voltage = np.linalg.solve(np.delete(np.delete(matrix, 1, 0), 1, 1), driven)
    return voltage[0]


@pytest.mark.checks("independent", "winding.star_resistance", "datasheet.star_phase", "motor.phase_resistance")
def test_star_and_delta_by_the_equations_of_their_nodes():
    delta = _between_leads([(0, 1, 0.3), (1, 2, 0.3), (2, 0, 0.3)])
    phase = winding.star_resistance(0.3)
    star = _between_leads([(0, 3, phase), (1, 3, phase), (2, 3, phase)])
    assert star == pytest.approx(delta, rel=1e-12)
    assert motor.phase_resistance(delta) == pytest.approx(phase, rel=1e-12)


@pytest.mark.checks("independent", "winding.joining_ratio", "winding.rewound")
def test_joining_coils_in_delta_by_their_waveforms():
    """Back-EMF between leads, and torque from the power of coils that carry sine currents."""
    angle = np.linspace(0, 2 * np.pi, 3601)[:-1]
    shifts = 2 * np.pi / 3 * np.arange(3)
    coil = np.cos(angle[:, None] - shifts)  # back-EMF of each coil at 1 rad/s
    resistance, peak = 0.2, 10.0
    star_emf = np.ptp(coil[:, 0] - coil[:, 1]) / 2
    delta_emf = np.ptp(coil[:, 0]) / 2
    current = peak / math.sqrt(3) * coil  # a lead's current is the difference of two coils': root 3 times as much
    assert np.ptp(current[:, 0] - current[:, 1]) / 2 == pytest.approx(peak, rel=1e-6)
    torque = (coil * current).sum(axis=1)
    loss = (resistance * current**2).sum(axis=1)
    star = winding.Coils(1.5, resistance, 1.0)  # 3/2 times the peak of a coil's back-EMF per rad/s
    delta = winding.rewound(*star, winding.joining_ratio("star", "delta"))
    assert torque == pytest.approx(np.full_like(torque, delta.torque_constant_peak * peak), rel=1e-9)
    assert loss == pytest.approx(np.full_like(loss, motor.copper_loss(peak, delta.phase_resistance)), rel=1e-9)
    assert delta_emf / star_emf == pytest.approx(delta.torque_constant_peak / star.torque_constant_peak, rel=1e-6)
    assert delta.phase_resistance == pytest.approx(winding.star_resistance(resistance), rel=1e-12)


@pytest.mark.checks("independent", "winding.copper_section", "winding.copper_fill", "winding.wire_resistance")
def test_thinner_strands_with_the_same_section_change_nothing():
    one, many = winding.copper_section(1e-3, 1), winding.copper_section(0.5e-3, 4)
    assert one == pytest.approx(many) and one == pytest.approx(0.785398e-6, rel=1e-6)
    slot = 12e-3 * 8e-3
    assert winding.copper_fill(40, one, slot) == pytest.approx(40 * 0.785398 / 96, rel=1e-6)
    square = winding.copper_fill((10 / 1) ** 2, winding.copper_section(1e-3, 1), (10e-3) ** 2)
    assert square == pytest.approx(math.pi / 4, rel=1e-12), "round wires packed in squares"
    assert winding.wire_resistance(3.0, many, 75.0) == pytest.approx(
        motor.resistance_at(winding.wire_resistance(3.0, one), 75.0, 20.0), rel=1e-12
    )


def _layered(height, layers):
    """Loss of the top layer's stack over direct current, by solving the diffusion of the field with finite differences."""
    points = 1500
    x = np.linspace(0, height, points)
    step = x[1] - x[0]
    ac = dc = 0.0
    for layer in range(1, layers + 1):
        matrix = np.diag(np.full(points, -2 / step**2 - 2j / DEPTH**2)) + np.diag(np.full(points - 1, 1 / step**2), 1)
        matrix += np.diag(np.full(points - 1, 1 / step**2), -1)
        right = np.zeros(points, complex)
        for end, field in ((0, layer - 1), (-1, layer)):
            matrix[end] = 0
            matrix[end, end] = 1
            right[end] = field
        density = np.gradient(np.linalg.solve(matrix, right), step, edge_order=2)
        ac += np.trapezoid(np.abs(density) ** 2, x)
        dc += 1 / height
    return ac / dc


@pytest.mark.checks("independent", "winding.strand_resistance_ratio")
@pytest.mark.parametrize(("share", "layers"), [(0.3, 1), (0.3, 4), (1.2, 1), (1.2, 3), (3.0, 2)])
def test_layers_against_the_diffusion_of_the_field(share, layers):
    diameter = 2 * share * DEPTH / math.sqrt(math.pi)  # the square of the same section is share skin depths high
    assert winding.strand_resistance_ratio(diameter, DEPTH, layers) == pytest.approx(_layered(share * DEPTH, layers), rel=2e-4)


@pytest.mark.checks("limit", "winding.strand_resistance_ratio")
def test_thin_strands_see_direct_current_and_thick_ones_their_skin():
    assert winding.strand_resistance_ratio(1e-5, DEPTH, 20) == pytest.approx(1.0, abs=1e-5)
    thick = 60 * DEPTH
    assert winding.strand_resistance_ratio(2 * thick / math.sqrt(math.pi), DEPTH, 1) == pytest.approx(60.0, rel=1e-9)
    near = [winding.strand_resistance_ratio(2 * x * DEPTH / math.sqrt(math.pi), DEPTH, 30) - 1 for x in (0.00999999, 0.01000001)]
    assert near[0] == pytest.approx(near[1], rel=1e-4), "the series meets the whole formula"


def test_formulas_broadcast():
    assert_broadcasts(winding.rewound, torque_constant_peak=0.5, phase_resistance=0.1, inductance=1e-3, turns_ratio=[0.7, 1.3])
    assert_broadcasts(winding.strand_resistance_ratio, strand_diameter=[1e-6, 1e-3, 2e-3], skin_depth=[1e-3, 5e-3], layers=4)
    assert_broadcasts(winding.skin_depth, current_frequency=[50.0, 400.0], resistivity=[1.7e-8, 2.8e-8])


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: winding.rewound(1.0, 0.1, 1e-3, 0.0), "turns_ratio must be above 0"),
        (lambda: winding.rewound(1.0, 0.1, 1e-3, 1.0, -1.0), "copper_ratio must be above 0"),
        (lambda: winding.joining_ratio("star", "mesh"), "after must be one of 'star', 'delta', got 'mesh'"),
        (lambda: winding.strand_resistance_ratio(1e-3, 1e-3, 0.5), "layers must be from 1"),
        (lambda: winding.skin_depth(0.0), "current_frequency must be above 0"),
    ],
)
def test_impossible_arguments_are_refused(call, said):
    with pytest.raises(ValueError, match=said):
        call()
