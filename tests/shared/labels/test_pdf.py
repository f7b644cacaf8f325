"""The printed page: drawn as pixels, every QR code on it is read by a decoder written by others, in its place."""

from __future__ import annotations

import pypdfium2
import pytest
import zxingcpp

from shared.labels.art import QUIET, Label, label_art, printable
from shared.labels.codes import Kind, label_text
from shared.labels.layouts import LAYOUTS, Layout
from shared.labels.pdf import labels_pdf

DPI = 200
PX_MM = DPI / 25.4
#: As long as a code can be, and with the one character that needs the larger kind of QR code.
LONGEST = "LONG_CODE-" + "0123456789" * 3


def label(code: str, kind: Kind = Kind.BATTERY) -> Label:
    return Label(label_text(kind, code), code, "12 V 18 Ah", "Gull Point")


def pixels(pdf: bytes) -> list[pypdfium2.PdfBitmap]:
    pages = pypdfium2.PdfDocument(pdf)
    return [page.render(scale=DPI / 72, grayscale=True).to_pil() for page in pages]


def read(image) -> dict[str, tuple[float, float]]:
    """Text -> middle of its code in mm from the top left corner of the page."""
    found = {}
    for code in zxingcpp.read_barcodes(image):
        assert code.format == zxingcpp.BarcodeFormat.QRCode
        at = code.position
        corners = [at.top_left, at.top_right, at.bottom_left, at.bottom_right]
        found[code.text] = (sum(c.x for c in corners) / 4 / PX_MM, sum(c.y for c in corners) / 4 / PX_MM)
    return found


def expected_mm(layout: Layout, one: Label, place: int) -> tuple[float, float]:
    art = label_art(one, layout.label_w_mm, layout.label_h_mm)
    half_mm = len(art.qr) * art.module_mm / 2
    x_mm, y_mm = layout.corner_mm(place)
    return x_mm + art.qr_x_mm + half_mm, y_mm + art.qr_y_mm + half_mm


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=lambda layout: layout.key)
def test_every_code_of_a_full_page_is_read_in_its_place(layout):
    labels = [label(f"GP-{i:02}") for i in range(layout.count)]
    (image,) = pixels(labels_pdf(labels, layout))
    assert image.width / PX_MM == pytest.approx(layout.page_w_mm, abs=0.2)
    assert image.height / PX_MM == pytest.approx(layout.page_h_mm, abs=0.2)
    found = read(image)
    assert set(found) == {one.text for one in labels}
    for place, one in enumerate(labels, 1):
        assert found[one.text] == pytest.approx(expected_mm(layout, one, place), abs=0.4)


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=lambda layout: layout.key)
def test_the_longest_code_is_read_from_every_label(layout):
    one = label(LONGEST, Kind.SPOOL)
    (image,) = pixels(labels_pdf([one], layout))
    assert set(read(image)) == {one.text}
    # Scanners want modules of a third of a millimetre (common practice, no source).
    assert label_art(one, layout.label_w_mm, layout.label_h_mm).module_mm > 0.33


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=lambda layout: layout.key)
@pytest.mark.parametrize("code", ["7", "GP-07", LONGEST])
def test_print_stays_on_the_label_and_out_of_the_quiet_zone(layout, code):
    art = label_art(label(code), layout.label_w_mm, layout.label_h_mm)
    quiet_mm = QUIET * art.module_mm
    code_mm = len(art.qr) * art.module_mm
    assert art.qr_x_mm >= quiet_mm - 1e-9
    assert art.qr_y_mm >= quiet_mm - 1e-9
    assert art.qr_y_mm + code_mm + quiet_mm <= layout.label_h_mm + 1e-9
    for line in art.lines:
        assert line.x_mm >= art.qr_x_mm + code_mm + quiet_mm - 1e-9
        assert line.x_mm + line.width_mm <= layout.label_w_mm - 1
        assert line.y_mm - line.size_mm * 0.75 >= 1
        assert line.y_mm + line.size_mm * 0.25 <= layout.label_h_mm - 1
    assert any(line.text == art_text for line in art.lines for art_text in [label(code).text])


def test_a_used_sheet_is_begun_further_on_and_goes_on_on_the_next():
    layout = LAYOUTS["a4-24"]
    labels = [label(f"GP-{i:02}") for i in range(5)]
    first, second = pixels(labels_pdf(labels, layout, start=22))
    assert {text: round(x) for text, (x, _) in read(first).items()} == {
        one.text: round(expected_mm(layout, one, place)[0]) for place, one in enumerate(labels[:3], 22)
    }
    assert read(second)[labels[3].text] == pytest.approx(expected_mm(layout, labels[3], 1), abs=0.4)


def test_the_print_can_be_moved():
    layout = LAYOUTS["a4-21"]
    one = label("GP-07")
    (image,) = pixels(labels_pdf([one], layout, shift_x_mm=2.0, shift_y_mm=-1.5))
    x_mm, y_mm = expected_mm(layout, one, 1)
    assert read(image)[one.text] == pytest.approx((x_mm + 2.0, y_mm - 1.5), abs=0.4)


def test_the_same_labels_give_the_same_file():
    labels = [label("GP-07")]
    assert labels_pdf(labels, LAYOUTS["a4-24"]) == labels_pdf(labels, LAYOUTS["a4-24"])


def test_the_text_can_be_found_in_the_file():
    text = (
        pypdfium2.PdfDocument(labels_pdf([label("GP-07")], LAYOUTS["a4-24"]))[0]
        .get_textpage()
        .get_text_bounded()
    )
    assert "GP-07" in text
    assert label("GP-07").text in text
    assert "Gull Point" in text


def test_a_long_code_is_broken_where_that_makes_it_larger():
    lines = label_art(label("MOTOR-POWER-RED-0001"), 62, 29).lines
    assert [line.text for line in lines if line.bold] == ["MOTOR-POWER-", "RED-0001"]


@pytest.mark.parametrize(
    ("text", "shown"),
    [("Gull Point", "Gull Point"), ("Łódź Ünïted", "Łódź Ünïted"), ("湾", "?"), ("ﬁt", "ﬁt")],
)
def test_letters_the_font_lacks_are_replaced(text, shown):
    assert printable(text).replace("ź", "z") == shown.replace("ź", "z")
