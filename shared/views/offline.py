"""What a browser asks for at the root of the site: the worker that keeps pages, its stand-in page, the home-screen
manifest. None of it says anything about a team, so none of it asks who is there."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

#: What every kept page needs, and the camera page, which is opened where no network may be left.
ASSETS = (
    *(
        f"web/{name}.css"
        for name in ("tokens", "base", "layout", "components", "forms", "tables", "charts", "outbox", "print")
    ),
    *(
        f"web/{name}.js"
        for name in ("loadstock", "outbox-store", "outbox-send", "outbox", "offline", "camera")
    ),
    "web/mark.svg",
    "web/icon-192.png",
    "web/vendor/zxing-wasm-3.1.4/reader.js",
    "web/vendor/zxing-wasm-3.1.4/zxing_reader.wasm",
)


def worker_facts() -> dict[str, Any]:
    """What the worker is told: the version is another when any file is, which makes browsers take the new one."""
    assets = [*(static(name) for name in ASSETS), reverse("offline")]
    manifest = str(getattr(staticfiles_storage, "manifest_hash", ""))
    version = hashlib.sha256("\n".join([manifest, *assets]).encode()).hexdigest()[:12]
    return {
        "version": version,
        "assets": assets,
        "static": settings.STATIC_URL,
        "offline": reverse("offline"),
        "accounts": reverse("login").removesuffix("login/"),
    }


@require_safe
@never_cache
def worker(request: HttpRequest) -> HttpResponse:
    """The worker's script, at the root so that it may look after every page."""
    text = (
        f"self.facts = {json.dumps(worker_facts())};\nimportScripts({json.dumps(static('web/worker.js'))});\n"
    )
    return HttpResponse(
        text, content_type="text/javascript; charset=utf-8", headers={"Service-Worker-Allowed": "/"}
    )


@require_safe
def offline(request: HttpRequest) -> HttpResponse:
    """Stands in for a page that is not kept in the phone."""
    return render(request, "shared/offline.html")


@require_safe
def app_manifest(request: HttpRequest) -> HttpResponse:
    """Name and icon for a phone's home screen."""
    icons = [
        {"src": static(f"web/icon-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
        for size in (192, 512)
    ]
    icons.append({"src": static("web/mark.svg"), "sizes": "any", "type": "image/svg+xml"})
    facts = {
        "name": "Loadstock",
        "short_name": "Loadstock",
        "description": "Wiring, parts and batteries of a robotics team",
        "id": "/",
        "start_url": reverse("home"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#f7f1e5",
        "theme_color": "#f7f1e5",
        "icons": icons,
    }
    return JsonResponse(facts, content_type="application/manifest+json")
