"""The page with the steps: how a phone takes the pit's certificate in, and how it gets rid of it after the event."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import segno
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from shared.pit.authority import Made
from shared.pit.plain import CERTIFICATE

STYLES = ("tokens", "base", "layout", "components", "outbox", "print")


@dataclass(frozen=True)
class Address:
    """One way to reach this machine: the plain page with the steps, the https site behind it, both as codes."""

    name: str
    steps: str
    site: str
    steps_code: SafeString
    site_code: SafeString


def addresses(names: Sequence[str], *, port: int, plain_port: int) -> list[Address]:
    """Addresses by number first: not every phone looks up the name of a laptop."""
    ordered = sorted(names, key=lambda name: not name.replace(".", "").isdigit())
    made = []
    for name in ordered:
        steps, site = f"http://{name}:{plain_port}/", f"https://{name}:{port}/"
        made.append(Address(name, steps, site, code(steps), code(site)))
    return made


def code(text: str) -> SafeString:
    """A QR code (ISO/IEC 18004) as inline SVG without style attributes; with its quiet zone, dark on white."""
    drawing = segno.make_qr(text, error="m").svg_inline(border=4, light="#fff", dark="#000", omitsize=True)
    return mark_safe(drawing)  # noqa: S308 - drawn here from an address of this machine


def write_site(folder: Path, made: Made, reached: Sequence[Address]) -> None:
    """Everything the plain page serves, as files."""
    folder.mkdir(parents=True, exist_ok=True)
    context = {"made": made, "addresses": reached, "certificate": CERTIFICATE}
    (folder / "index.html").write_text(render_to_string("shared/pit_page.html", context), encoding="utf-8")
    sheets = [Path(str(finders.find(f"web/{name}.css"))).read_text(encoding="utf-8") for name in STYLES]
    (folder / "style.css").write_text("\n".join(sheets), encoding="utf-8")
    (folder / CERTIFICATE).write_bytes(made.root_der)
