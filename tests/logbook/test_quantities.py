"""Units as people write them, against published definitions."""

from __future__ import annotations

import pytest

from brewlog.quantities import MAX_UNIT_LENGTH, Scale, names, parse_unit, to_float, two_sizes, unit_of, ureg, with_unit

# NIST Handbook 44, appendix C: exact values of the inch, the pound and the US gallon; the imperial gallon of 4.546 09 L
# is that of the UK Units of Measurement Regulations 1995, the kelvin and degree Fahrenheit of NIST SP 811, B.8.
PUBLISHED = [
    ("lb", "kg", 0.45359237),
    ("lbs", "kg", 0.45359237),
    ("Pounds", "kg", 0.45359237),
    ("oz", "kg", 0.45359237 / 16),
    ("g", "kg", 0.001),
    ("gal", "L", 3.785411784),
    ("US gal", "L", 3.785411784),
    ("qt", "L", 3.785411784 / 4),
    ("imp gal", "L", 4.54609),
    ("UK gal", "L", 4.54609),
    ("mL", "L", 0.001),
    ("hl", "L", 100.0),
    ("m³", "L", 1000.0),
    ("inch", "mm", 25.4),
    ("thou", "mm", 0.0254),
    ("µm", "mm", 0.001),
    ("ft", "m", 0.3048),
    ("h", "min", 60.0),
    ("hrs", "min", 60.0),
    ("kW", "W", 1000.0),
    ("%", "1", 0.01),
    ("gpm", "L/min", 3.785411784),
    ("l/h", "L/min", 1 / 60),
    ("degF", "K", 5 / 9),
    ("delta_degF", "K", 5 / 9),
    ("°C", "K", 1.0),
]


@pytest.mark.parametrize(("text", "unit", "factor"), PUBLISHED, ids=[f"{t} in {u}" for t, u, _ in PUBLISHED])
def test_published_factors(text, unit, factor):
    scale = parse_unit(text, unit)
    assert scale.factor == pytest.approx(factor, rel=1e-12)
    assert scale.offset == 0.0
    assert scale.back(scale(7.0)) == pytest.approx(7.0, rel=1e-12)


@pytest.mark.parametrize("text", ["F", "°F", "deg F", "degF", "Fahrenheit", "℉", "º F"])
def test_fahrenheit_is_a_temperature_not_a_capacity(text):
    scale = parse_unit(text, "degC")
    # ice point and steam point, and the point where both scales read the same
    assert [scale(x) for x in (32.0, 212.0, -40.0)] == pytest.approx([0.0, 100.0, -40.0], abs=1e-9)


@pytest.mark.parametrize("text", ["C", "°C", "degC", "Celsius", "℃", "deg. C".replace(".", "")])
def test_celsius_is_a_temperature_not_a_charge(text):
    assert parse_unit(text, "degC")[1:] == (1.0, 0.0)


def test_kelvin_has_its_zero():
    assert parse_unit("K", "degC")(273.15) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("10**10**7 L", "L"), ("L**99", "L"), ("L+L", "L"), ("2 L", "L"), ("(L)", "L"), ("", "L"), ("±∞", "L"),
        ("kg", "L"), ("furlong", "L"), ("delta_degF", "degC"), ("s", "degC"), ("L;kg", "L"), ("__import__", "L"),
        ("L L L L L L L L L", "L"), ("x" * 10_000, "kg"), ("kg*" * 9 + "kg", "kg"),
    ],
)  # fmt: skip
def test_what_is_no_such_unit_is_refused_at_once(text, unit):
    with pytest.raises(ValueError, match=r"expected a unit that converts to"):
        parse_unit(text, unit)


def test_powers_of_a_unit_end_at_four():
    # pint itself would take both: the limit is brewlog's
    assert parse_unit("m**4/m", "L").factor == pytest.approx(1000.0)
    assert ureg.Quantity(1.0, "m**5/m**2").to("L").magnitude == pytest.approx(1000.0)
    with pytest.raises(ValueError, match="expected a unit that converts to L"):
        parse_unit("m**5/m**2", "L")
    with pytest.raises(ValueError, match="expected a unit that converts to L"):
        parse_unit("m**13/m**10", "L")


def test_numbers_never_reach_the_arithmetic_of_a_unit(monkeypatch):
    asked = []
    monkeypatch.setattr("brewlog.quantities.ureg", type("Watched", (), {"Quantity": lambda *a: asked.append(a)})())
    for text in ("10**10**7 L", "L**9999999", "L*2**31", "2*L", "1e9 L", "L**-9", "L+L", "L;L"):
        with pytest.raises(ValueError, match="expected a unit that converts to L"):
            parse_unit(text, "L")
    assert asked == []


@pytest.mark.parametrize(("text", "litres"), [("gal", 3.785), ("Gallons", 3.785), ("qt", 0.9464), ("pints", 0.4732)])
def test_units_of_two_sizes_name_both(text, litres):
    told = two_sizes(text)
    assert told is not None
    assert f"{told[0]} ({litres:g} L)" in told[1]
    assert parse_unit(text, "L").factor == pytest.approx(litres, rel=1e-3)
    name = told[0].removeprefix("US ")
    # 20 fluid ounces to the imperial pint, 160 to the gallon of 4.546 09 L (UK Units of Measurement Regulations 1995)
    assert parse_unit(f"imp {name}", "L").factor == pytest.approx(
        {"gal": 1, "qt": 1 / 4, "pint": 1 / 8}[name] * 4.54609
    )


@pytest.mark.parametrize("text", ["US gal", "imp gal", "UK gal", "L", "kg", "galore", "", "x" * 100])
def test_units_of_one_size_are_not_asked_about(text):
    assert two_sizes(text) is None


def test_the_refusal_names_find_and_wish():
    with pytest.raises(ValueError, match=r"^found the unit 'stone of old', expected a unit that converts to kg\.$"):
        parse_unit("stone of old", "kg")
    with pytest.raises(
        ValueError, match=rf"^found a unit of 41 characters, .* at most {MAX_UNIT_LENGTH} characters\.$"
    ):
        parse_unit("k" * 41, "kg")


def test_quantities_become_floats_at_the_door():
    assert float(to_float(ureg.Quantity(212.0, "degF"), "degC")) == pytest.approx(100.0)
    assert to_float([1, 2], "kg").tolist() == [1.0, 2.0]
    with pytest.raises(ValueError, match=r"^volume is in kilogram; expected a unit that converts to L\.$"):
        to_float(ureg.Quantity(1.0, "kg"), "L", "volume")
    with pytest.raises(ValueError, match=r"^value is 'x'; expected a number in L\.$"):
        to_float("x", "L")
    assert with_unit(3.0, "1").dimensionless


def test_names_are_read_with_their_units():
    assert unit_of("hold_rms") == "K"
    assert names()["brew"].unit == ""
    with pytest.raises(KeyError):
        unit_of("no such name")


def test_a_scale_is_linear_both_ways():
    scale = Scale("x", 2.0, 3.0)
    assert scale(5.0) == 13.0
    assert scale.back(13.0) == 5.0
