"""Circuits as they are entered, and deleted when they feed nothing."""

from __future__ import annotations

from typing import Any, cast

from django.forms import ModelChoiceField, ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from builds.models import Build, Circuit
from builds.services.circuits import circuit_delete, circuit_save
from shared.access import Can, Scope
from shared.models import TeamOwned
from shared.pages import RowFormPage, TeamPage

CIRCUIT_FIELDS = (
    "code",
    "name",
    "role",
    "fed_from",
    "component",
    "continuous_a",
    "peak_a",
    "duty_frac",
    "cycle_s",
    "mechanism",
    "limit_a",
    "profile",
    "device",
    "device_fitted",
    "wire",
    "parallel",
    "length_m",
    "wired",
    "terminal_source",
    "stud_source_mm",
    "terminal_load",
    "stud_load_mm",
    "joints_mohm",
    "bundle_count",
    "ambient_c",
    "critical",
    "notes",
)


def save_circuit(*, scope: Scope, instance: Circuit) -> Circuit:
    return circuit_save(scope=scope, circuit=instance)


class CircuitPage(RowFormPage):
    nav_key = "robots"
    model = Circuit
    fields = CIRCUIT_FIELDS
    template = "builds/form.html"
    save = staticmethod(save_circuit)

    def form(self, instance: TeamOwned, data: Any = None) -> ModelForm[Any]:
        made = super().form(instance, data)
        circuit = cast(Circuit, instance)
        feeders = self.scope.rows(Circuit).filter(build_id=circuit.build_id).exclude(pk=circuit.pk)
        field = cast("ModelChoiceField[Circuit]", made.fields["fed_from"])
        field.queryset, field.empty_label = feeders.order_by("code"), "The battery"
        return made

    def after_url(self, row: TeamOwned) -> str:
        return self.url("circuit-detail", pk=row.pk)

    def context(self, form: ModelForm[Any], row: TeamOwned) -> dict[str, Any]:
        circuit = cast(Circuit, row)
        title = f"Edit {circuit}" if circuit.pk else f"New circuit of {circuit.build}"
        back = self.after_url(circuit) if circuit.pk else self.url("build-detail", pk=circuit.build_id)
        lead = "Leave empty what is not known yet: the checks say so instead of guessing."
        words = {
            "title": title,
            "lead": lead,
            "back_url": back,
            "caution": "crimp",
            "duties_url": self.url("duty-list"),
        }
        return {**super().context(form, row), **words}


class CircuitNew(CircuitPage):
    def instance(self) -> TeamOwned:
        build = self.scope.get(Build.objects.select_related("robot"), pk=self.kwargs["pk"])
        return Circuit(team=self.scope.team, build=build)


class CircuitEdit(CircuitPage):
    def instance(self) -> TeamOwned:
        return self.scope.get(Circuit.objects.select_related("build__robot"), pk=self.kwargs["pk"])


class CircuitDelete(TeamPage):
    """Asks once more; a circuit that feeds others is refused with their names."""

    nav_key = "robots"
    read = Can.WORK

    def circuit(self) -> Circuit:
        return self.scope.get(Circuit.objects.select_related("build__robot"), pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        circuit = self.circuit()
        context = {
            "question": f"Delete circuit {circuit} of {circuit.build}?",
            "consequence": "Its flags clear with the next sweep. Its history stays.",
            "confirm_label": "Delete the circuit",
            "cancel_url": self.url("circuit-detail", pk=circuit.pk),
            "danger": True,
        }
        return self.render("web/_confirm.html", context)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        circuit = self.circuit()
        build_id, name = circuit.build_id, str(circuit)
        circuit_delete(scope=self.scope, circuit=circuit)
        self.say(f"Circuit {name} deleted.")
        return self.go("build-detail", pk=build_id)
