"""Quantities as typed, against the conversion factors of NIST Special Publication 811 (2008), Appendix B."""

from __future__ import annotations

import math
import subprocess
import sys
import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.units import (
    UNITS,
    UnitError,
    format_quantity,
    parse_decimal,
    parse_for_field,
    parse_quantity,
    unit_for_field,
)

# foot 0.3048 m, inch 25.4 mm, pound 453.592 37 g are exact by definition (NIST SP 811, B.6 and B.8).
# pound-force inch 0.112 984 8 N.m, pound-force foot 1.355 818 N.m, circular mil 5.067 075e-10 m2:
# same table, 7 digits.
EXACT = [
    ("3 ft", "m", 0.9144),
    ("3'", "m", 0.9144),
    ("10 feet", "m", 3.048),
    ("120cm", "m", 1.2),
    ("1.5e3 mm", "m", 1.5),
    ("1/4 in", "mm", 6.35),
    ("1 1/4 in", "mm", 31.75),
    ("1¼ in", "mm", 31.75),
    ('½"', "mm", 12.7),
    ("5 ft 3 in", "m", 1.6002),
    ("5' 3\"", "m", 1.6002),
    ("250 mil", "mm", 6.35),
    ("15 mohm", "mohm", 15.0),
    ("15 mOhm", "mohm", 15.0),
    ("15 mΩ", "mohm", 15.0),
    ("15 m\u2126", "mohm", 15.0),
    ("0.015 ohm", "mohm", 15.0),
    ("0.015 Ω", "mohm", 15.0),
    ("15000 µΩ", "mohm", 15.0),
    ("1.2 kohm", "ohm", 1200.0),
    ("2.5 mm2", "mm2", 2.5),
    ("2.5 mm²", "mm2", 2.5),
    ("2.5 mm^2", "mm2", 2.5),
    ("2.5 sq mm", "mm2", 2.5),
    ("0.02 cm2", "mm2", 2.0),
    ("12.6", "v", 12.6),
    (" 12.6 V ", "v", 12.6),
    ("300 mV", "v", 0.3),
    ("20 A", "a", 20.0),
    ("20a", "a", 20.0),
    ("20 amps", "a", 20.0),
    ("500 mA", "a", 0.5),
    ("5 %", "frac", 0.05),
    ("5%", "frac", 0.05),
    ("0.05", "frac", 0.05),
    ("90 min", "h", 1.5),
    ("1 h 30 min", "min", 90.0),
    ("2.5 min", "s", 150.0),
    ("2 weeks", "days", 14.0),
    ("18 Ah", "ah", 18.0),
    ("500 mAh", "ah", 0.5),
    ("0.2 kWh", "wh", 200.0),
    ("1500 A2s", "a2s", 1500.0),
    ("68 °F", "c", 20.0),
    ("-40 F", "c", -40.0),
    ("20 C", "c", 20.0),
    ("20 deg C", "c", 20.0),
    ("293.15 K", "c", 20.0),
    ("6 Nm", "nm", 6.0),
    ("6 N·m", "nm", 6.0),
    ("1 lb", "g", 453.59237),
    ("−5 °C", "c", -5.0),
    (25, "c", 25.0),
    (Decimal("2.5"), "mm2", 2.5),
]


@pytest.mark.parametrize(("text", "unit", "value"), EXACT)
def test_reads_what_people_type(text: object, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1 in-lb", "nm", 0.1129848),
        ("1 lbf-ft", "nm", 1.355818),
        ("1 kcmil", "mm2", 0.5067075),
        ("0.01 sq in", "mm2", 6.4516),
    ],
)
def test_factors_given_to_seven_digits(text: str, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=5e-7)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("20 A", "m"), ("3 ft", "v"), ("15 ohm", "a"), ("5 %", "v"), ("12 AWG", "mm2"), ("20 C", "ah"),
        ("3 m", "c"),
        ("", "v"), ("   ", "v"), ("abc", "v"), ("nan", "v"), ("inf", "v"), ("-inf V", "v"), ("1e999", "v"),
        ("1e99999999999", "v"), ("1/0 in", "mm"), ("12.6.1", "v"), ("12..6", "v"), ("1 2", "v"),
        ("12,6", "v"),
        ("1,234", "a"), ("3 frobs", "m"), ("3 m**9999999", "m"), ("3 __import__", "m"), ("x" * 200, "m"),
        ("9" * 400, "m"), ("3 m m", "m"), ("=1+1", "a"), ("5 A 3 A", "a"), ("3 in 2 min", "m"),
        (None, "v"), (True, "v"), (math.nan, "v"), (math.inf, "v"), ([], "v"),
    ],
)  # fmt: skip
def test_refuses_with_a_remedy(text: object, unit: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, unit)
    assert caught.value.expected == UNITS[unit].kind
    assert UNITS[unit].examples[0] in caught.value.remedy
    assert str(caught.value).endswith(".")


def test_every_example_shown_to_people_is_readable() -> None:
    for unit, info in UNITS.items():
        for example in info.examples:
            assert math.isfinite(parse_quantity(example, unit))


@pytest.mark.parametrize(
    ("text", "value"), [("12,6", 12.6), ("12,6 V", 12.6), ("0,125", 0.125), ("12.6", 12.6), ("0.125", 0.125)]
)
def test_decimal_comma_when_told(text: str, value: float) -> None:
    assert parse_quantity(text + " ", "v", decimal_comma=True) == value


@pytest.mark.parametrize("text", ["1.234,5", "1.234 V", "12.345.678 V", "1,2,3"])
def test_ambiguous_thousands_marks_are_refused(text: str) -> None:
    with pytest.raises(UnitError):
        parse_quantity(text, "v", decimal_comma=True)


def test_decimals_stay_exact() -> None:
    assert parse_decimal("3.20") == Decimal("3.20")
    assert parse_decimal(19.99) == Decimal("19.99")
    for bad in ("", "3 EUR", "NaN", "1/3", None, True, math.inf, Decimal("NaN"), "1,000"):
        with pytest.raises(UnitError):
            parse_decimal(bad)


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("length_m", "m"), ("hole_mm", "mm"), ("area_mm2", "mm2"), ("peak_current_a", "a"), ("rest_v", "v"),
        ("resistance_mohm", "mohm"), ("bus_ohm", "ohm"), ("ambient_c", "c"), ("window_s", "s"),
        ("charge_h", "h"),
        ("charge_min", "min"), ("lead_time_days", "days"), ("capacity_ah", "ah"), ("power_w", "w"),
        ("duty_frac", "frac"), ("torque_nm", "nm"), ("mass_g", "g"), ("lead_d", "days"),
        ("name", None), ("m", None), ("_m", None), ("drift_mohm_per_c", None), ("notes", None), ("s", None),
    ],
)  # fmt: skip
def test_unit_from_the_field_name(name: str, unit: str | None) -> None:
    assert unit_for_field(name) == unit


def test_a_field_without_unit_takes_plain_numbers_only() -> None:
    assert parse_for_field("count", "12") == 12.0
    with pytest.raises(UnitError):
        parse_for_field("count", "12 A")


FINITE = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12)


@given(value=FINITE, unit=st.sampled_from(sorted(UNITS)))
def test_round_trip_is_exact_with_all_digits(value: float, unit: str) -> None:
    assert parse_quantity(format_quantity(value, unit, None), unit) == value


@given(
    value=st.floats(min_value=1e-6, max_value=1e9),
    unit=st.sampled_from(sorted(UNITS)),
    digits=st.integers(min_value=2, max_value=9),
)
def test_round_trip_keeps_the_digits_shown(value: float, unit: str, digits: int) -> None:
    back = parse_quantity(format_quantity(value, unit, digits), unit)
    assert back == pytest.approx(value, rel=0.5 * 10.0 ** (1 - digits) * 1.0001)


@given(value=FINITE)
def test_feet_and_fahrenheit_agree_with_their_definition(value: float) -> None:
    assert parse_quantity(f"{value!r} ft", "m") == pytest.approx(value * 0.3048, rel=1e-15)
    assert parse_quantity(f"{value!r} °F", "c") == pytest.approx((value - 32) / 1.8, rel=1e-12, abs=1e-12)


@given(text=st.text(max_size=80), unit=st.sampled_from(sorted(UNITS)), comma=st.booleans())
def test_any_text_is_a_finite_number_or_a_unit_error(text: str, unit: str, comma: bool) -> None:
    try:
        value = parse_quantity(text, unit, decimal_comma=comma)
    except UnitError:
        return
    assert math.isfinite(value)


def test_plain_numbers_never_load_the_unit_library() -> None:
    code = (
        "import sys; from shared.units import parse_quantity as p; p('12.6', 'v'); p(3, 'm'); "
        "assert 'pint' not in sys.modules; p('3 ft', 'm'); assert 'pint' in sys.modules; "
        "assert 'django' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_long_column_is_quick() -> None:
    parse_quantity("1 ft", "m")
    start = time.perf_counter()
    for number in range(10_000):
        parse_quantity(f"{number} ft", "m")
    # One question to the unit library per spelling; asking it each time takes a hundred times longer.
    assert time.perf_counter() - start < 3.0
