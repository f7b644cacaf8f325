"""Wire sizes: AWG geometry from the ASTM B258 formula, and what a size typed by a person means.

Public names: `parse_size`, `format_size`, `ConductorSize`, `SizeError`, `awg_area_mm2`, `awg_diameter_mm`,
`awg_label_for_area`, `sae_area_mm2`, `cmil_from_mm2`, `mm2_from_cmil`.
"""

import math
import re
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from shared.electrical.arrays import FloatArray, Number
from shared.electrical.tables.sizes import AREA_RANGE_MM2, AWG_LABELS, SAE_AREA_CMIL

__all__ = [
    "ConductorSize",
    "SizeError",
    "SizeSystem",
    "awg_area_mm2",
    "awg_diameter_mm",
    "awg_label_for_area",
    "cmil_from_mm2",
    "format_size",
    "mm2_from_cmil",
    "parse_size",
    "sae_area_mm2",
]

SizeSystem: TypeAlias = Literal["awg", "sae", "metric"]

_MM_PER_INCH: Final = 25.4
# A circular mil is the area of a circle 0.001 in across.
_MM2_PER_CMIL: Final = math.pi / 4.0 * (_MM_PER_INCH * 1e-3) ** 2
_REMEDY: Final = (
    "Type a gauge such as '12 AWG' or '1/0 AWG', 'SAE 12' for automotive wire, or an area such as '2.5 mm2'."
)


class SizeError(ValueError):
    """A typed size that means no wire we know; `value` is what was typed, `remedy` what would be right."""

    def __init__(self, message: str, *, value: str, remedy: str = _REMEDY) -> None:
        super().__init__(f"{message} {remedy}")
        self.value = value
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class ConductorSize:
    """A conductor area, the size as the user typed it, and the system it was typed in."""

    area_mm2: float
    size_typed: str
    system: SizeSystem


def _gauge_number(label: str) -> int:
    """Return n of the ASTM formula: 12 for '12', 0 for '1/0', -3 for '4/0'."""
    text = label.strip().lower()
    if text not in _GAUGE_NUMBERS:
        raise SizeError(
            f"'{label}' is not an AWG size between {AWG_LABELS[0]} and {AWG_LABELS[-1]}.", value=label
        )
    return _GAUGE_NUMBERS[text]


_GAUGE_NUMBERS: Final[dict[str, int]] = {label: index - 3 for index, label in enumerate(AWG_LABELS)} | {
    "0": 0,
    "00": -1,
    "000": -2,
    "0000": -3,
}


def awg_diameter_mm(label: str) -> float:
    """Give the diameter of the solid round wire of an American Wire Gauge.

    Parameters:
        label: text [AWG], '12', '1/0' ... ('0', '00', '000', '0000' are read as '1/0' to '4/0').
    Returns:
        float [mm].
    Errors: SizeError when the gauge lies outside 4/0 to 30.
    Validity: solid wire; a stranded conductor of the same gauge has the same copper area, not this diameter.
    Source: ASTM B258 diameter formula, d = 0.005 in x 92^((36-n)/39).

    >>> round(awg_diameter_mm("12"), 3)
    2.053
    """
    return 0.005 * _MM_PER_INCH * math.pow(92.0, (36 - _gauge_number(label)) / 39.0)


def awg_area_mm2(label: str) -> float:
    """Give the copper area of an American Wire Gauge.

    Parameters:
        label: text [AWG], as `awg_diameter_mm`.
    Returns:
        float [mm2].
    Errors: SizeError when the gauge lies outside 4/0 to 30.
    Validity: nominal area; automotive (SAE) wire of the same number is 3-12 % thinner, see `sae_area_mm2`.
    Source: ASTM B258 diameter formula.

    >>> round(awg_area_mm2("12"), 3), round(awg_area_mm2("4/0"), 1)
    (3.309, 107.2)
    """
    return math.pi / 4.0 * awg_diameter_mm(label) ** 2


def sae_area_mm2(label: str) -> float:
    """Give the minimum copper area of an automotive (SAE) gauge, thinner than AWG of the same number.

    Parameters:
        label: text [SAE gauge], '18' to '4/0', even sizes.
    Returns:
        float [mm2].
    Errors: SizeError when the gauge is not in the table.
    Validity: minimum area of primary wire; a maker's wire may be thicker.
    Source: SAE J378 / SAE J1128 minimum areas, as printed in a marine wire catalogue.

    >>> round(sae_area_mm2("12"), 3)
    2.956
    """
    key = {"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"}.get(label.strip(), label.strip())
    if key not in SAE_AREA_CMIL:
        raise SizeError(f"'{label}' is not an SAE size ({', '.join(SAE_AREA_CMIL)}).", value=label)
    return float(mm2_from_cmil(SAE_AREA_CMIL[key]))


def mm2_from_cmil(area_cmil: Number) -> FloatArray:
    """Convert circular mils to square millimetres.

    Parameters:
        area_cmil: float or array [cmil].
    Returns:
        Array [mm2].
    Errors: none.
    Validity: exact.
    Source: definition: the area of a circle 0.001 in across; 1 in = 25.4 mm.

    >>> round(float(mm2_from_cmil(6530.0)), 3)
    3.309
    """
    return np.asarray(area_cmil, dtype=np.float64) * _MM2_PER_CMIL


def cmil_from_mm2(area_mm2: Number) -> FloatArray:
    """Convert square millimetres to circular mils.

    Parameters:
        area_mm2: float or array [mm2].
    Returns:
        Array [cmil].
    Errors: none.
    Validity: exact.
    Source: definition, as `mm2_from_cmil`.

    >>> round(float(cmil_from_mm2(awg_area_mm2("10"))))
    10383
    """
    return np.asarray(area_mm2, dtype=np.float64) / _MM2_PER_CMIL


_AWG_AREAS: Final = {label: awg_area_mm2(label) for label in AWG_LABELS}


def awg_label_for_area(area_mm2: float) -> str:
    """Name the thickest gauge that does not promise more copper than the area has.

    Parameters:
        area_mm2: float [mm2].
    Returns:
        Text [AWG], '12' or '1/0'.
    Errors: SizeError when the area is thinner than 30 AWG.
    Validity: areas above 4/0 are named '4/0'; a nominal area within 0.1 % of a gauge counts as that gauge.
    Source: ASTM B258 areas; rounding towards less copper is common practice, no source.

    >>> awg_label_for_area(3.31), awg_label_for_area(2.5), awg_label_for_area(53.5)
    ('12', '14', '1/0')
    """
    for label, area in _AWG_AREAS.items():
        if area_mm2 >= area * 0.999:
            return label
    raise SizeError(f"{area_mm2:g} mm2 is thinner than {AWG_LABELS[-1]} AWG.", value=f"{area_mm2:g}")


_GAUGE = r"(?P<gauge>[1-4]\s*/\s*0|0{1,4}|\d{1,2})"
_AWG_FORMS: Final = (
    re.compile(rf"(?:awg|\#|no\.?)\s*{_GAUGE}(?:\s*(?:awg|ga|gauge))?", re.IGNORECASE),
    re.compile(rf"{_GAUGE}\s*-?\s*(?:awg|ga\.?|gauge)", re.IGNORECASE),
    re.compile(r"(?P<gauge>[1-4]\s*/\s*0)"),
)
_SAE_FORMS: Final = (
    re.compile(rf"sae\s*{_GAUGE}(?:\s*(?:ga|gauge))?", re.IGNORECASE),
    re.compile(rf"{_GAUGE}\s*-?\s*sae", re.IGNORECASE),
)
_METRIC_FORM: Final = re.compile(
    r"(?P<area>\d+(?:[.,]\d+)?|[.,]\d+)\s*(?:mm\s*(?:2|²|\^2|\*\*2)|sq\.?\s*mm|mm\s*sq\.?|qmm|millimeter\s*\*\*\s*2)",
    re.IGNORECASE,
)


def _match_gauge(text: str, forms: tuple[re.Pattern[str], ...]) -> str | None:
    for form in forms:
        if found := form.fullmatch(text):
            return re.sub(r"\s", "", found["gauge"])
    return None


def _metric_area(text: str, typed: str) -> float | None:
    found = _METRIC_FORM.fullmatch(text)
    if not found:
        return None
    area_mm2 = float(found["area"].replace(",", "."))
    low, high = AREA_RANGE_MM2
    if not low <= area_mm2 <= high:
        raise SizeError(f"'{typed}' is outside {low:g} to {high:g} mm2.", value=typed)
    return area_mm2


def parse_size(text: str) -> ConductorSize:
    """Read a wire size as a person types it.

    Parameters:
        text: text [AWG, SAE or mm2]: '12 AWG', '12awg', '#12', '12 ga', '1/0', 'SAE 16', '2.5 mm2', '2,5
            mm²'.
    Returns:
        ConductorSize with the area [mm2], the text as typed (outer blanks removed) and the system
        ('awg', 'sae' or 'metric').
    Errors: SizeError for a bare number (12 of what?), an unknown gauge, or an area outside 0.05 to 150 mm2.
    Validity: a plain 'ga'/'gauge' is read as AWG; metric 'auto cable' sold by outside diameter must be given
        in mm2.
    Source: ASTM B258 (AWG), SAE J378 / J1128 (SAE), nominal area (metric).

    >>> parse_size("12 AWG")
    ConductorSize(area_mm2=3.308..., size_typed='12 AWG', system='awg')
    >>> parse_size("2,5 mm²").area_mm2, parse_size("1/0").system
    (2.5, 'awg')
    >>> parse_size("12")
    Traceback (most recent call last):
    ...
    shared.electrical.gauges.SizeError: '12' does not say in which unit the size is. Type a gauge such as ...
    """
    typed = text.strip()
    plain = re.sub(r"\s+", " ", typed)
    if gauge := _match_gauge(plain, _AWG_FORMS):
        return ConductorSize(awg_area_mm2(gauge), typed, "awg")
    if gauge := _match_gauge(plain, _SAE_FORMS):
        return ConductorSize(sae_area_mm2(gauge), typed, "sae")
    area_mm2 = _metric_area(plain, typed)
    if area_mm2 is not None:
        return ConductorSize(area_mm2, typed, "metric")
    if re.fullmatch(r"\d+(?:[.,]\d+)?", plain):
        raise SizeError(f"'{typed}' does not say in which unit the size is.", value=typed)
    raise SizeError(f"'{typed}' is not a wire size.", value=typed)


def format_size(area_mm2: float, system: SizeSystem = "awg") -> str:
    """Print an area in a size system so that `parse_size` reads the same area back.

    Parameters:
        area_mm2: float [mm2].
        system: 'awg', 'sae' or 'metric' [-]; an area that is no size of that system is printed in mm2.
    Returns:
        Text [AWG, SAE or mm2], '12 AWG', 'SAE 12' or '2.5 mm2'.
    Errors: none.
    Validity: a gauge is printed only when the area matches it within 0.1 %.
    Source: ASTM B258; SAE J378 / J1128.

    >>> format_size(awg_area_mm2("12")), format_size(2.5), format_size(sae_area_mm2("16"), "sae")
    ('12 AWG', '2.5 mm2', 'SAE 16')
    """
    if system == "awg":
        for label, area in _AWG_AREAS.items():
            if math.isclose(area, area_mm2, rel_tol=1e-3):
                return f"{label} AWG"
    elif system == "sae":
        for label, cmil in SAE_AREA_CMIL.items():
            if math.isclose(cmil * _MM2_PER_CMIL, area_mm2, rel_tol=1e-3):
                return f"SAE {label}"
    return f"{area_mm2:g} mm2"
