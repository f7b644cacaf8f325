"""Rule packs: which limits hold for which season, and whose they are."""

from __future__ import annotations

from typing import Any

from django.db.models import Count
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase

from compliance.forms import PREFIX, SettingForm
from compliance.models import RulePack, RuleSetting
from compliance.rules.base import Rule
from compliance.rules.registry import RULES
from compliance.services.packs import pack_delete, pack_save, setting_delete, setting_save
from compliance.views.limits import limit_text
from shared.access import Can
from shared.errors import DomainError
from shared.models import TeamOwned
from shared.pages import RowFormPage, TeamPage


class PackList(TeamPage):
    nav_key = "methods"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        packs = self.scope.rows(RulePack).select_related("season").annotate(changed=Count("settings"))
        context = {
            "packs": packs.order_by("name"),
            "governs": self.scope.can(Can.GOVERN),
            "rules": len(RULES),
        }
        return self.render("compliance/packs/list.html", context)


class PackDetail(TeamPage):
    """Every rule with what the pack changes of it; the rest stands at its default."""

    nav_key = "methods"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        pack = self.scope.get(RulePack.objects.select_related("season"), pk=self.kwargs["pk"])
        settings = {s.rule_code: s for s in pack.settings.all()}
        context = {
            "pack": pack,
            "rows": [
                (rule, settings.get(code), _limits(rule, settings.get(code))) for code, rule in RULES.items()
            ],
            "strange": [s for code, s in settings.items() if code not in RULES],
            "governs": self.scope.can(Can.GOVERN),
            "changed": len(settings),
        }
        return self.render("compliance/packs/detail.html", context)


def _limits(rule: type[Rule], setting: RuleSetting | None) -> list[tuple[str, str, str]]:
    """(name, value in force, default) of each limit, as text."""
    given = setting.limits if setting else {}
    return [
        (x.name, limit_text(given.get(x.name, x.default), x.unit), limit_text(x.default, x.unit))
        for x in rule.limits
    ]


class PackEdit(RowFormPage):
    nav_key = "methods"
    model = RulePack
    fields = ("name", "season", "source", "notes")
    list_url = "pack-list"
    need = write = Can.GOVERN

    @staticmethod
    def save(*, scope: Any, instance: RulePack) -> RulePack:
        return pack_save(scope=scope, pack=instance)

    def after_url(self, row: TeamOwned) -> str:
        return self.url("pack-detail", pk=row.pk)


class PackDelete(TeamPage):
    nav_key = "methods"
    write = Can.GOVERN
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        pack = self.scope.get(RulePack, pk=self.kwargs["pk"])
        pack_delete(scope=self.scope, pack=pack)
        self.say(f"Rule pack {pack} deleted. What it judged is judged by the general pack or the defaults.")
        return self.go("pack-list")


class SettingEdit(TeamPage):
    """What a pack changes of one rule."""

    nav_key = "methods"
    write = Can.GOVERN

    def setting(self) -> RuleSetting:
        pack = self.scope.get(RulePack, pk=self.kwargs["pk"])
        code = self.kwargs["code"]
        if code not in RULES:
            raise Http404("No such rule.")
        found = self.scope.rows(RuleSetting).filter(pack=pack, rule_code=code).first()
        return found or RuleSetting(team=self.scope.team, pack=pack, rule_code=code)

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.scope.require(Can.GOVERN)
        setting = self.setting()
        initial = {"enabled": setting.enabled, "severity": setting.severity, "source": setting.source}
        initial |= {PREFIX + name: value for name, value in setting.limits.items()}
        return self.show(setting, SettingForm(RULES[setting.rule_code], initial=initial))

    def show(self, setting: RuleSetting, form: SettingForm, status: int = 200) -> HttpResponse:
        context = {"setting": setting, "rule": RULES[setting.rule_code], "form": form, "pack": setting.pack}
        return self.render("compliance/packs/setting.html", context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        setting = self.setting()
        if request.POST.get("reset"):
            if setting.pk:
                setting_delete(scope=self.scope, setting=setting)
            self.say(f"{setting.rule_code}: the defaults hold again.")
            return self.go("pack-detail", pk=setting.pack_id)
        form = SettingForm(RULES[setting.rule_code], request.POST)
        if not form.is_valid():
            return self.show(setting, form, status=422)
        setting.enabled = form.cleaned_data["enabled"]
        setting.severity = form.cleaned_data["severity"]
        setting.source = form.cleaned_data["source"]
        setting.limits = form.limits()
        try:
            setting_save(scope=self.scope, setting=setting)
        except DomainError as refused:
            form.add_error(None, refused.sentence)
            return self.show(setting, form, status=422)
        self.say(f"{setting.rule_code} saved; the sweeps judge anew.")
        return self.go("pack-detail", pk=setting.pack_id)
