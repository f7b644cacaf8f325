"""Answers about a build: the cheapest fix, which battery, which current limit, what a change did."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from builds.models import Build, Circuit
from builds.network import Scenario
from builds.selectors.match_studies import studies_of
from builds.selectors.studies import (
    batteries_for,
    build_changes,
    cheapest_fix,
    circuits_of,
    current_limits,
    network_of,
    solved_build,
)
from builds.services.fixes import fix_as_draft
from builds.studies import Fix
from compliance.models import Severity
from compliance.selectors.compare import change_notes
from compliance.selectors.margins import OK, circuit_margins
from compliance.selectors.power_drawings import feed_picture
from compliance.selectors.power_pages import cart_rows, pushing_of
from compliance.views.power import BuildPage, kept, pk_in
from inventory.models import Battery, WireType

#: A fix that gains less than this is listed apart: no meter on the robot would show it.
LEAST_GAIN_V = 0.001
Found = TypeVar("Found")


def gains(fix: Fix) -> bool:
    """Does the fix gain anything to speak of? One whose gain cannot be told solves what had no solution."""
    return fix.gain_v is None or max(fix.gain_v, fix.board_gain_v or 0.0) >= LEAST_GAIN_V


class LeastVolts(forms.Form):
    """What the board must keep at least; empty for what controller and radio need."""

    least_v = forms.FloatField(
        label="The board must keep at least",
        required=False,
        min_value=0,
        max_value=60,
        widget=forms.NumberInput(attrs={"data-unit": "V", "step": "0.1", "inputmode": "decimal"}),
    )


class AnswerPage(BuildPage):
    """An answer for a chosen battery and a chosen least voltage."""

    def asked(self) -> tuple[LeastVolts, float | None]:
        form = LeastVolts(self.request.GET or None)
        return form, form.cleaned_data["least_v"] if form.is_valid() else None

    def batteries(self) -> list[Battery]:
        return list(self.scope.rows(Battery).filter(archived=False).order_by("code"))

    def answer(self, study: Callable[..., Found]) -> tuple[Found, dict[str, Any]]:
        """What a study says of the build with the battery and charge asked for, and what its page shows beside it."""
        build = self.build()
        form, least_v = self.asked()
        battery = self.chosen_battery()
        found = study(
            self.scope,
            build,
            battery,
            least_board_v=least_v,
            push=pushing_of(self.scope, build),
            charge_frac=self.charge_frac,
        )
        return found, {
            **self.context(build),
            "found": found,
            "form": form,
            "battery": battery,
            "batteries": self.batteries(),
            "kept": kept(battery, self.charge),
        }


class BuildFixes(AnswerPage):
    """One size up on each branch, ranked by what it gains; a draft build with one of them on request."""

    tab_key = "fixes"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        found, context = self.answer(cheapest_fix)
        context |= {
            "worth": [fix for fix in found.fixes if gains(fix)],
            "idle": [fix for fix in found.fixes if not gains(fix)],
        }
        return self.render("compliance/power/fixes.html", context)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        build = self.build()
        circuit = self.scope.get(Circuit, pk=pk_in(request.POST, "circuit"), build=build)
        wire = self.scope.get(WireType, pk=pk_in(request.POST, "wire"))
        draft = fix_as_draft(scope=self.scope, build=build, circuit=circuit, wire=wire)
        self.say(
            " ".join(
                [f"{draft.build} started as a draft with {wire.size_typed} on {circuit.code}.", *draft.ends]
            )
        )
        return self.go("build-compare", pk=draft.build.pk)


class BuildCart(AnswerPage):
    """Which of the team's batteries may still run this robot."""

    tab_key = "cart"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        build = self.build()
        form, least_v = self.asked()
        rows = circuits_of(self.scope, build)
        net = network_of(self.scope, build, pushing_of(self.scope, build), rows)
        found = batteries_for(self.scope, build, least_board_v=least_v, net=net, charge_frac=self.charge_frac)
        cart = cart_rows(found, studies_of(self.scope, build, rows).rows)
        told = Counter(row.state for row in cart if row.battery_id)
        context = {
            **self.context(build),
            "found": found,
            "cart": cart,
            "form": form,
            "count": sum(told.values()),
            "may": told[OK] + told[Severity.WATCH],
            "told": told,
        }
        return self.render("compliance/power/cart.html", context)


class BuildLimits(AnswerPage):
    """How far each mechanism's motors must be held back so that nothing browns out."""

    tab_key = "limits"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        _, context = self.answer(current_limits)
        return self.render("compliance/power/limits.html", context)


class BuildCompare(BuildPage):
    """Two builds of a robot side by side: trees, figures, what changed and what it did."""

    tab_key = "compare"

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        build = self.build()
        related = self.scope.rows(Build).select_related("robot", "battery_model")
        others = list(related.filter(robot_id=build.robot_id).exclude(pk=build.pk).order_by("-dated", "-pk"))
        other = self.other(build, others)
        context = {**self.context(build), "others": others, "other": other}
        if other is not None:
            found = build_changes(self.scope, other, build, push=pushing_of(self.scope, build))
            notes = change_notes(found)
            before = self.side(other, notes[0], "feed-before")
            after = self.side(build, notes[1], "feed-after")
            context |= {"found": found, "before": before, "after": after, "sides": [before, after]}
        return self.render("compliance/power/compare.html", context)

    def other(self, build: Build, others: list[Build]) -> Build | None:
        """The build of ?with=, else the one before it, else any other."""
        wanted = pk_in(self.request.GET, "with")
        if wanted:
            return self.scope.get(Build.objects.select_related("robot", "battery_model"), pk=wanted)
        before = [other for other in others if (other.dated, other.pk) < (build.dated, build.pk)]
        return next(iter(before or others), None)

    def side(self, build: Build, notes: dict[str, str], chart_id: str) -> dict[str, Any]:
        """One of the two: its tree when two mechanisms push."""
        solved = solved_build(self.scope, build, push=pushing_of(self.scope, build))
        if solved.cannot:
            return {"build": build, "solved": solved}
        margins = {m.circuit.pk: m for m in circuit_margins(self.scope, build)}
        tree = feed_picture(
            build,
            solved,
            Scenario.PUSH,
            margins,
            lambda pk: self.url("circuit-detail", pk=pk),
            notes=notes,
            chart_id=chart_id,
        )
        return {"build": build, "solved": solved, "tree": tree, "now": solved.scenarios[Scenario.PUSH]}
