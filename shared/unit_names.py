"""The units fields are stored in, and the spellings people use for them (data for ``shared.units``)."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class UnitInfo:
    """A unit that fields are stored in: its sign, its name for pint, what it measures, example texts."""

    symbol: str
    pint_name: str
    kind: str
    examples: tuple[str, ...]

    @property
    def hint(self) -> str:
        """What a field in this unit takes, for a form or a column heading."""
        shown = ", ".join(self.examples)
        return (
            f"{self.kind}, for example {shown}" if not self.symbol else f"in {self.symbol}; {shown} also work"
        )


UNITS: dict[str, UnitInfo] = {
    "": UnitInfo("", "dimensionless", "a number", ("12", "0.5")),
    "m": UnitInfo("m", "meter", "a length", ("3 ft", "120 cm")),
    "mm": UnitInfo("mm", "millimeter", "a length", ("1/4 in", "0.6 cm")),
    "km": UnitInfo("km", "kilometer", "a length", ("1200 m",)),
    "mm2": UnitInfo("mm²", "millimeter**2", "an area", ("2.5 mm2", "0.02 cm2")),
    "a": UnitInfo("A", "ampere", "a current", ("20 A", "500 mA")),
    "ma": UnitInfo("mA", "milliampere", "a current", ("500 mA", "0.5 A")),
    "a2s": UnitInfo("A²s", "ampere**2*second", "a let-through energy", ("1500 A2s",)),
    "v": UnitInfo("V", "volt", "a voltage", ("12.6 V", "300 mV")),
    "mv": UnitInfo("mV", "millivolt", "a voltage", ("300 mV", "0.3 V")),
    "mohm": UnitInfo("mΩ", "milliohm", "a resistance", ("15 mohm", "0.015 ohm")),
    "ohm": UnitInfo("Ω", "ohm", "a resistance", ("60 ohm", "1.2 kohm")),
    "c": UnitInfo("°C", "degC", "a temperature", ("25 °C", "77 °F")),
    "s": UnitInfo("s", "second", "a duration", ("150 s", "2.5 min")),
    "min": UnitInfo("min", "minute", "a duration", ("90 min", "1.5 h")),
    "h": UnitInfo("h", "hour", "a duration", ("2 h", "90 min")),
    "days": UnitInfo("days", "day", "a duration", ("10 days", "2 weeks")),
    "years": UnitInfo("years", "year", "a duration", ("3 years", "18 months")),
    "ah": UnitInfo("Ah", "ampere_hour", "a charge", ("18 Ah", "500 mAh")),
    "wh": UnitInfo("Wh", "watt_hour", "an energy", ("200 Wh", "0.2 kWh")),
    "j": UnitInfo("J", "joule", "an energy", ("500 J", "2 kJ")),
    "w": UnitInfo("W", "watt", "a power", ("250 W", "0.3 kW")),
    "hz": UnitInfo("Hz", "hertz", "a frequency", ("50 Hz", "1 kHz")),
    "nm": UnitInfo("N·m", "newton*meter", "a torque", ("6 N m", "50 in-lb")),
    "g": UnitInfo("g", "gram", "a mass", ("350 g", "1.2 lb")),
    "kg": UnitInfo("kg", "kilogram", "a mass", ("5.9 kg", "13 lb")),
    "frac": UnitInfo("", "dimensionless", "a share between 0 and 1, or a percentage", ("0.8", "80 %")),
}

SUFFIX_ALIASES = {"d": "days", "day": "days", "year": "years", "degc": "c"}

# Spellings people use that pint does not know or reads as something else ("C" is coulomb to it, "a" a year).
ALIASES: dict[str, str] = {
    "'": "foot", "’": "foot", "′": "foot", "ft": "foot", "feet": "foot",
    '"': "inch", "”": "inch", "″": "inch", "in": "inch", "in.": "inch", "inches": "inch",
    "mil": "thou", "mils": "thou", "metre": "meter", "metres": "meter",
    "sqmm": "millimeter**2", "qmm": "millimeter**2", "mmq": "millimeter**2", "sq in": "inch**2",
    "mcm": "kcmil", "cmils": "cmil",
    "a": "ampere", "amp": "ampere", "amps": "ampere", "v": "volt", "volts": "volt",
    "w": "watt", "watts": "watt",
    "ohms": "ohm", "mohms": "milliohm", "mOhm": "milliohm", "mOhms": "milliohm", "kOhm": "kiloohm",
    "mΩ": "milliohm", "μΩ": "microohm", "kΩ": "kiloohm", "Ω": "ohm",
    "uohm": "microohm", "μohm": "microohm", "μOhm": "microohm", "uOhm": "microohm",
    "hrs": "hour", "hr": "hour", "mins": "minute", "sec": "second", "secs": "second", "d": "day",
    "wk": "week", "wks": "week", "yr": "year", "yrs": "year", "mo": "month",
    "ah": "ampere_hour", "amp hours": "ampere_hour", "amp-hours": "ampere_hour", "mah": "milliampere_hour",
    "wh": "watt_hour", "kwh": "kilowatt_hour",
    "in-lb": "lbf*inch", "in-lbs": "lbf*inch", "in lb": "lbf*inch", "inlb": "lbf*inch", "lb-in": "lbf*inch",
    "lb in": "lbf*inch", "in-lbf": "lbf*inch", "lbf-in": "lbf*inch", "lbf in": "lbf*inch",
    "ft-lb": "lbf*foot", "ft-lbs": "lbf*foot", "ft lb": "lbf*foot", "lb-ft": "lbf*foot", "ft-lbf": "lbf*foot",
    "lbf-ft": "lbf*foot", "nm": "newton*meter", "Nm": "newton*meter", "N m": "newton*meter",
    "lbs": "pound", "grams": "gram",
    "A2s": "ampere**2*second", "a2s": "ampere**2*second", "A²s": "ampere**2*second",
}  # fmt: skip

# Temperatures have an offset, so a factor alone will not do: (factor, offset) to degrees Celsius.
TEMPERATURES: dict[str, tuple[Fraction, Fraction]] = {
    **dict.fromkeys(("c", "degc", "°c", "deg c", "celsius"), (Fraction(1), Fraction(0))),
    **dict.fromkeys(("f", "degf", "°f", "deg f", "fahrenheit"), (Fraction(5, 9), Fraction(-160, 9))),
    **dict.fromkeys(("k", "kelvin"), (Fraction(1), Fraction(-27315, 100))),
}
