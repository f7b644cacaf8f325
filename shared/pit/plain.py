"""The plain page beside the https site: it hands out the authority's certificate and the steps, and nothing else.

Standard library only; started by the supervisor as `python -m shared.pit.plain DESCRIPTOR FOLDER`. A phone without the
certificate cannot open the https site yet, so this one page comes unprotected; the fingerprint on it is compared with
the laptop's screen.
"""

from __future__ import annotations

import socket
import sys
import threading
import time
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from shared.addresses import own_addresses

CERTIFICATE = "loadstock-pit.crt"
#: Path -> file in the folder and its kind; a phone knows by the last one what to do with a certificate.
FILES = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/style.css": ("style.css", "text/css; charset=utf-8"),
    f"/{CERTIFICATE}": (CERTIFICATE, "application/x-x509-ca-cert"),
}
POLICY = "default-src 'none'; style-src 'self'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'"
WATCH_S = 20.0


class Page(BaseHTTPRequestHandler):
    folder: Path
    timeout = 10  # a phone that says nothing does not hold a thread for ever
    server_version = "Loadstock"
    sys_version = ""

    def do_GET(self) -> None:
        path = self.path.partition("?")[0]
        if path not in FILES:
            self.send_response(HTTPStatus.FOUND)
            self.send_header("Location", "/")
            self.send_header("Content-Length", "0")
            self.end_headers()
            return
        name, kind = FILES[path]
        body = (self.folder / name).read_bytes()
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Content-Security-Policy", POLICY)
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        if self.command == "GET":
            self.wfile.write(body)

    do_HEAD = do_GET

    def log_message(self, format: str, *args: object) -> None:
        """Nobody reads who fetched a certificate."""


def watch_addresses(known: list[str]) -> None:
    """Say it once whenever the machine's addresses change: the certificate in use does not know the new ones."""
    while True:
        time.sleep(WATCH_S)
        now = own_addresses()
        if now != known:
            sys.stdout.write(
                f"This machine's address is now {', '.join(now) or 'none'} (was {', '.join(known) or 'none'}). "
                "End this and start 'manage.py pit' again: phones keep their certificate and need the new address.\n"
            )
            sys.stdout.flush()
            known = now


def main(descriptor: int, folder: Path) -> None:
    listener = socket.socket(fileno=descriptor)
    Page.folder = folder
    server = ThreadingHTTPServer(listener.getsockname()[:2], Page, bind_and_activate=False)
    server.socket.close()
    server.socket = listener
    threading.Thread(target=watch_addresses, args=[own_addresses()], daemon=True).start()
    server.serve_forever()


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
