"""Opening an uploaded zip without trusting it: sizes are counted while inflating, names are never paths."""

from __future__ import annotations

import io
import re
import zipfile
import zlib

from shared.workbook.limits import MAX_ENTRIES, MAX_FILE_BYTES, MAX_UNPACKED_BYTES
from shared.workbook.problems import WorkbookRefused

OLE_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
ZIP_MAGIC = b"PK\x03\x04"
_CHUNK = 64 * 1024
_ENTITY = re.compile(rb"<!(DOCTYPE|ENTITY)", re.IGNORECASE)
SAVE_AS = "Open it in a spreadsheet program and save it as XLSX, or as CSV"


def check_size(data: bytes) -> None:
    """Refuse a file that is empty or larger than the limit."""
    if not data:
        raise WorkbookRefused("The file is empty", remedy="Choose the workbook again")
    if len(data) > MAX_FILE_BYTES:
        raise WorkbookRefused(
            f"The file is larger than {MAX_FILE_BYTES // 2**20} MB",
            remedy="Split it: one workbook may hold some of the sheets",
        )


def refuse_old_formats(data: bytes) -> None:
    """Say what to do with the formats people upload by mistake."""
    if data.startswith(OLE_MAGIC):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise WorkbookRefused("The file is protected by a password", remedy="Save it without a password")
        raise WorkbookRefused("This is the old XLS format", remedy=SAVE_AS)
    if data.startswith(b"%PDF"):
        raise WorkbookRefused("This is a PDF, not a workbook", remedy="Choose an XLSX or CSV file")


def open_zip(data: bytes) -> zipfile.ZipFile:
    """A zip whose every entry has been inflated once within the limits."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        entries = archive.infolist()
        if len(entries) > MAX_ENTRIES:
            raise WorkbookRefused(f"The file has more than {MAX_ENTRIES} parts", remedy=SAVE_AS)
        if sum(entry.file_size for entry in entries) > MAX_UNPACKED_BYTES:
            raise _too_large()
        left = MAX_UNPACKED_BYTES
        for entry in entries:
            _check_entry(entry)
            left = _inflate(archive, entry, left)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, ValueError) as exc:
        raise WorkbookRefused("The file is damaged", remedy="Save or download it again") from exc
    except (NotImplementedError, RuntimeError) as exc:
        raise WorkbookRefused("The file is packed in a way that cannot be read", remedy=SAVE_AS) from exc
    return archive


def _check_entry(entry: zipfile.ZipInfo) -> None:
    if entry.flag_bits & 0x1:
        raise WorkbookRefused("The file is protected by a password", remedy="Save it without a password")
    name = entry.filename.replace("\\", "/")
    if name.startswith("/") or ".." in name.split("/") or ":" in name:
        raise WorkbookRefused(
            "The file holds a part whose name leads outside it", field="file", value=name, remedy=SAVE_AS
        )


def _inflate(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, left: int) -> int:
    xml = entry.filename.lower().endswith((".xml", ".rels", ".vml"))
    tail = b""
    with archive.open(entry) as stream:
        while chunk := stream.read(_CHUNK):
            left -= len(chunk)
            if left < 0:
                raise _too_large()
            if xml and _ENTITY.search(tail + chunk):
                raise WorkbookRefused(
                    "The file declares XML entities, which no spreadsheet needs", remedy=SAVE_AS
                )
            tail = chunk[-16:]
    return left


def _too_large() -> WorkbookRefused:
    return WorkbookRefused(
        f"The file unpacks to more than {MAX_UNPACKED_BYTES // 2**20} MB",
        remedy="Delete empty formatted rows and columns, or split it into several workbooks",
    )
