"""Units: what is read, what is refused, and that nothing is misread in silence."""

import math
import random
import time

import pytest

from unikit import units
from unikit.formulas import gearing
from unikit.units import KINDS, LONGEST_TEXT, Unit, UnitError, convert, magnitude, parse, registry


@pytest.fixture(scope="module")
def Q():
    return registry().Quantity


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("18 km/h", "speed", 5.0),
        ("1.2e3 W", "power", 1200.0),
        ("-0.5 m/s", "speed", -0.5),
        (".5 m", "length", 0.5),
        ("29in", "length", 29 * 0.0254),
        ('29"', "length", 29 * 0.0254),
        ("20 N*m", "torque", 20.0),
        ("20 N·m", "torque", 20.0),
        ("20 N m", "torque", 20.0),
        ("20 Nm", "torque", 20.0),
        ("60 rpm", "rotation", 2 * math.pi),
        ("25 C", "temperature", 298.15),
        ("25 °C", "temperature", 298.15),
        ("25 degC", "temperature", 298.15),
        ("77 °F", "temperature", 298.15),
        ("80 K", "temperature rise", 80.0),
        ("500Wh", "energy", 1.8e6),
        ("0.5 kWh", "energy", 1.8e6),
        ("2 A·h", "charge", 7200.0),
        ("2000 mAh", "charge", 7200.0),
        ("10 rpm/V", "speed constant", 10 * 2 * math.pi / 60),
        ("-0.12 %/K", "temperature coefficient", -0.0012),
        ("6 %", "slope", 0.06),
        ("0.06", "slope", 0.06),
        ("8.7 kg m²", "inertia", 8.7),
        ("9 Wh/km", "specific energy", 32.4),
        ("50 mΩ", "resistance", 0.05),
        ("0.018 N·m·s/rad", "drag per rotation", 0.018),
        ("30 °", "angle", math.pi / 6),
    ],
)
def test_read_right(text, kind, expected):
    assert parse(text, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("1,5 m", "length", "use a decimal point"),
        ("1.000,5 m", "length", "use a decimal point"),
        ("2**3 m", "length", "not an allowed unit"),
        ("10^3 m", "length", "not an allowed unit"),
        ("9**9**9 m", "length", "not an allowed unit"),
        ("2 ft 3 in", "length", "not an allowed unit"),
        ("1 000 m", "length", "not an allowed unit"),
        ("5", "length", "the unit is missing"),
        ("", "length", "does not start with a plain number"),
        ("m", "length", "does not start with a plain number"),
        ("nan m", "length", "does not start with a plain number"),
        ("inf m", "length", "does not start with a plain number"),
        ("0x10 m", "length", "not an allowed unit"),
        ("1_000 m", "length", "not an allowed unit"),
        ("١٢ m", "length", "does not start with a plain number"),
        ("1e400 m", "length", "too large"),
        ("20 J", "torque", "'J' is a unit of energy"),
        ("20 Wh", "torque", "'Wh' is a unit of energy"),
        ("20 N*m", "energy", "'N*m' is a unit of torque"),
        ("20 Nm", "energy", "'Nm' is a unit of torque"),
        ("90 rpm", "frequency", "'rpm' is a unit of rotation"),
        ("90 Hz", "rotation", "'Hz' is a unit of frequency"),
        ("25 C", "charge", "'C' is a unit of temperature"),
        ("25 °C", "temperature rise", "'°C' is a unit of temperature"),
        ("1 PS", "power", "not an allowed unit"),
        ("700c", "length", "not an allowed unit"),
        ("10 m/s", "slope", "'m/s' is a unit of speed"),
        ("__import__('os').getcwd()", "length", "does not start with a plain number"),
        ("1" * 100 + " m", "length", f"at most {LONGEST_TEXT} are read"),
    ],
)
def test_refused_in_words(text, kind, said):
    with pytest.raises(UnitError) as caught:
        parse(text, kind)
    assert said in str(caught.value)
    assert kind in str(caught.value)
    assert len(str(caught.value)) < 250


def test_what_is_not_text_is_refused():
    for value in (5, 5.0, None, True, ["1 m"]):
        with pytest.raises(UnitError, match="write text with a unit"):
            parse(value, "length")


def test_random_texts_are_read_right_or_refused_and_never_hang():
    draw = random.Random(7)
    signs = "0123456789eE+-.,*^/ ()[]{}mNKkgWhrpm%°\"'_"
    begun = time.monotonic()
    for _ in range(3000):
        text = "".join(draw.choice(signs) for _ in range(draw.randrange(1, 30)))
        kind = draw.choice(list(KINDS))
        try:
            value = parse(text, kind)
        except UnitError:
            continue
        head = text.strip()
        assert math.isfinite(value)
        assert head[0] in "+-.0123456789"
        assert head[-1] not in "+-*/^,(["
    assert time.monotonic() - begun < 30


def test_every_allowed_unit_round_trips_and_has_the_dimension_of_its_kind():
    reg = registry()
    for kind in KINDS.values():
        for spelled, expression in kind.allowed.items():
            assert reg.get_dimensionality(reg.Unit(expression or "dimensionless")) == reg.get_dimensionality(
                reg.Unit(kind.base or "dimensionless")
            ), (kind.name, spelled)
            there = convert(2.5, kind.name, spelled)
            assert convert(there, kind.name, kind.base, spelled) == pytest.approx(2.5, rel=1e-12)


def test_one_spelling_means_one_kind_or_is_shared_on_purpose():
    shared = {}
    for kind in KINDS.values():
        for spelled in kind.allowed:
            shared.setdefault(spelled, []).append(kind.name)
    doubled = {spelled: kinds for spelled, kinds in shared.items() if len(kinds) > 1}
    assert set(doubled) == {"", "%", "K", "m^2/s"}  # the last: viscosity, and speed squared over a time


@pytest.mark.parametrize(
    "use",
    [
        lambda Q: Q(60, "rpm").to("Hz"),
        lambda Q: Q(60, "Hz").to("rpm"),
        lambda Q: Q(3, "N*m") + Q(2, "J"),
        lambda Q: Q(2, "J") - Q(3, "Nm"),
        lambda Q: Q(3, "Nm").to("J"),
        lambda Q: Q(3, "W*h").to("N*m"),
        lambda Q: Q(3, "J") > Q(2, "N*m"),
        lambda Q: Q("1,5 m"),
        lambda Q: Q('29"'),
        lambda Q: Q("9**9**9 m"),
        lambda Q: Q("1" * 100 + " m"),
    ],
)
def test_registry_refuses_what_only_shares_a_dimension(Q, use):
    with pytest.raises(UnitError):
        use(Q)


def test_registry_still_does_what_is_right(Q):
    assert Q(60, "rpm").to("rad/s").magnitude == pytest.approx(2 * math.pi)
    assert Q(10, "Nm").to("N*m").magnitude == 10
    assert (Q(20, "N*m") * Q(60, "rpm")).to("W").magnitude == pytest.approx(40 * math.pi)
    assert Q(1, "W*h").to("J").magnitude == pytest.approx(3600)
    assert Q(25, "degC").to("K").magnitude == pytest.approx(298.15)
    assert Q(20, "lbf*ft") > Q(20, "N*m")
    assert registry() is registry()


def test_quantities_survive_pickling(Q):
    import pickle

    again = pickle.loads(pickle.dumps(Q(20, "N*m")))
    assert again + Q(1, "N*m") == Q(21, "N*m")


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (("3", "W*s"), Unit("torque", "N*m"), "got an energy"),
        (("3", "N*m"), Unit("energy", "J"), "got a torque"),
        (("3", "kg*m^2/s^2"), Unit("torque", "N*m"), "does not say which it is"),
        (("3", "1/s"), Unit("rotation", "rad/s"), "does not say which it is"),
        (("3", "Hz"), Unit("rotation", "rad/s"), "got a frequency"),
        (("3", "delta_degC"), Unit("temperature", "K"), "got a temperature rise"),
        (("3", "degC"), Unit("temperature rise", "K"), "got a temperature"),
        (("3", "rad"), Unit("slope", ""), "got an angle"),
        (("3", "m"), Unit("mass", "kg"), "got meter"),
    ],
)
def test_door_refuses_by_kind(Q, value, unit, said):
    with pytest.raises(UnitError, match=said):
        magnitude(Q(float(value[0]), value[1]), unit, "argument")


def test_door_of_a_formula(Q):
    answer = gearing.speed.with_units(Q(60, "rpm"), Q(14, "in"), 1.5)
    assert answer.to("km/h").magnitude == pytest.approx(2 * math.pi * 14 * 0.0254 * 1.5 * 3.6)
    assert gearing.speed.with_units("60 rpm", wheel_radius="14 in", gear_ratio=1.5) == answer
    with pytest.raises(UnitError, match="cadence needs a unit: it is a rotation in rad/s, got 3"):
        gearing.speed.with_units(3, "14 in", 1.5)


def test_temperature_at_the_edge(Q):
    assert magnitude(Q(25, "degC"), Unit("temperature", "K")) == pytest.approx(298.15)
    assert magnitude(Q(298.15, "K"), Unit("temperature", "degC")) == pytest.approx(25.0)
    assert magnitude("25 °C", Unit("temperature", "degC")) == pytest.approx(25.0)
    assert magnitude(Q(18, "delta_degF"), Unit("temperature rise", "K")) == pytest.approx(10.0)
    assert units.quantity(25.0, Unit("temperature", "degC")).to("K").magnitude == pytest.approx(298.15)
