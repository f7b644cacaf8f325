"""One place to scan or type a code: it goes straight to the thing, or says why it cannot."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from csp.decorators import csp_update
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.utils.decorators import method_decorator

from builds.selectors.scan import NothingFound, SeveralFound, find
from inventory.models import Part
from shared.errors import DomainError
from shared.pages import TeamPage

#: ``?from=`` of the search in the stores: what is no code there is a word to search for.
STORES = "stores"


# The camera's reader is WebAssembly: this page alone may compile it; inline script and eval stay forbidden here too.
@method_decorator(csp_update({"script-src": ["'wasm-unsafe-eval'"]}), name="dispatch")
class ScanPage(TeamPage):
    """``?code=`` goes to the battery, spool, bin or robot of that label; a part's own code opens the part."""

    nav_key = "scan"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        if "code" not in request.GET:
            return self.render("builds/scan.html", {"code": "", "several": ()})
        code, from_stores = request.GET["code"].strip(), request.GET.get("from") == STORES
        part = self.scope.rows(Part).filter(code__iexact=code).first()
        if part and from_stores:
            return self.go("part-detail", pk=part.pk)
        try:
            return HttpResponseRedirect(find(self.scope, code).url)
        except NothingFound as refused:
            if part:
                return self.go("part-detail", pk=part.pk)
            if from_stores and ":" not in code:
                return HttpResponseRedirect(f"{self.url('part-list')}?{urlencode({'q': code})}")
            return self.refused(code, refused)
        except DomainError as refused:
            return self.refused(code, refused)

    def refused(self, code: str, refused: DomainError) -> HttpResponse:
        several = refused.things if isinstance(refused, SeveralFound) else ()
        context = {"code": code, "refused": refused, "several": several}
        return self.render("builds/scan.html", context, status=refused.status_code)
