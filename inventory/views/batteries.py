"""What is entered about a battery: itself, readings, charges, capacity tests, whether it may go out."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from inventory.forms.batteries import (
    BatteryStateForm,
    CapacityForm,
    ChargeEndForm,
    ReadingForm,
)
from inventory.models import Battery, Charge, Reading
from inventory.selectors.batteries import open_charges
from inventory.services.batteries import (
    battery_set_state,
    capacity_test_log,
    charge_end,
    reading_log,
)
from shared.access import Can
from shared.errors import DomainError, NotAllowed
from shared.models import TeamOwned
from shared.pages import ArchivePage, RowFormPage, TeamPage, show_refusal
from shared.records import record_delete


class BatteryForm(RowFormPage):
    nav_key = "batteries"
    model = Battery
    fields = ("code", "model", "serial", "acquired_on", "in_service_on", "cycles_at_intake", "notes")
    list_url = "battery-list"
    template = "inventory/form.html"

    def after_url(self, row: TeamOwned) -> str:
        return self.url("battery-detail", pk=row.pk)


class BatteryEdit(BatteryForm):
    pass


class BatteryArchive(ArchivePage):
    nav_key = "batteries"
    model = Battery
    list_url = "battery-list"


class BatteryEntry(TeamPage):
    """A form about one battery, sent to one service; then back to the battery."""

    nav_key = "batteries"
    read = Can.WORK
    template: ClassVar[str] = "inventory/battery_entry.html"
    title: ClassVar[str]
    submit: ClassVar[str]
    caution: ClassVar[str] = "battery"
    battery: Battery

    def form(self, data: Any = None) -> Form:
        raise NotImplementedError

    def enter(self, given: dict[str, Any]) -> str:
        """Call the service with what was given; returns the sentence that tells what happened."""
        raise NotImplementedError

    def send(self, form: Form) -> str:
        """What of the form the service is given; all of it, unless a page says otherwise."""
        return self.enter(form.cleaned_data)

    def more(self) -> dict[str, Any]:
        return {}

    def find(self) -> None:
        self.battery = self.scope.get(Battery.objects.select_related("model"), pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        self.find()
        return self.show(self.form())

    def show(self, form: Form, status: int = 200) -> HttpResponse:
        context = {
            "form": form,
            "battery": self.battery,
            "title": self.title.format(self.battery.code),
            "submit": self.submit,
            "caution": self.caution,
            "back_url": self.url("battery-detail", pk=self.battery.pk),
            **self.more(),
        }
        return self.render(self.template, context, status=status)

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        self.find()
        form = self.form(request.POST)
        if form.is_valid():
            try:
                self.say(self.send(form))
            except NotAllowed:
                raise
            except (DomainError, ValidationError) as refused:
                show_refusal(form, refused)
            else:
                return self.go("battery-detail", pk=self.battery.pk)
        return self.show(form, status=422)


class ReadingNew(BatteryEntry):
    title = "Reading of {}"
    template = "inventory/reading_new.html"
    submit = "Save the reading"

    def form(self, data: Any = None) -> Form:
        return ReadingForm(data, scope=self.scope, battery=self.battery)

    def enter(self, given: dict[str, Any]) -> str:
        made = reading_log(scope=self.scope, battery=self.battery, **given)
        how = f"{made.get_method_display()}, {made.instrument}"
        return f"{self.battery.code}: {made.resistance_mohm:g} mΩ noted, {how}."


class ChargeEnd(BatteryEntry):
    title = "Take {} off its charger"
    submit = "Off the charger"
    caution = "charging"

    def form(self, data: Any = None) -> Form:
        return ChargeEndForm(data)

    def more(self) -> dict[str, Any]:
        charge = open_charge(self)
        lead = f"On {charge.charger} since" if charge else "It is not on a charger."
        return {"lead": lead, "since": charge.started_at if charge else None}

    def enter(self, given: dict[str, Any]) -> str:
        made = charge_end(scope=self.scope, battery=self.battery, **given)
        return f"{self.battery.code} is off {made.charger}."


def open_charge(page: BatteryEntry) -> Charge | None:
    """The charge the battery is on, if any."""
    return open_charges(page.scope).filter(battery=page.battery).first()


class BatteryStatePage(BatteryEntry):
    title = "May {} go out?"
    submit = "Set it"
    template = "inventory/battery_state.html"

    def form(self, data: Any = None) -> Form:
        return BatteryStateForm(data, scope=self.scope, battery=self.battery)

    def enter(self, given: dict[str, Any]) -> str:
        made = battery_set_state(scope=self.scope, battery=self.battery, **given)
        why = f": {made.state_reason}" if made.state_reason else ""
        return f"{made.code} is {made.get_state_display().lower()}{why}."


class CapacityNew(BatteryEntry):
    title = "Capacity test of {}"
    submit = "Save the test"

    def form(self, data: Any = None) -> Form:
        return CapacityForm(data, battery=self.battery)

    def enter(self, given: dict[str, Any]) -> str:
        made = capacity_test_log(scope=self.scope, battery=self.battery, **given)
        return f"{self.battery.code}: {made.capacity_ah:g} Ah at {made.current_a:g} A noted."


class ReadingEdit(RowFormPage):
    """Correct a mistyped reading; its history keeps what was written first."""

    nav_key = "batteries"
    subject_model: ClassVar[type[TeamOwned]] = Reading
    model = Reading
    fields = (
        "taken_at", "resistance_mohm", "method", "instrument", "rest_v", "rest_h", "temperature_c", "charge_frac",
        "note",
    )  # fmt: skip
    list_url = "battery-list"
    template = "inventory/form.html"

    def after_url(self, row: TeamOwned) -> str:
        assert isinstance(row, Reading)
        return self.url("battery-detail", pk=row.battery_id)


class ReadingDelete(TeamPage):
    """Take out a reading that never was one; its history keeps it."""

    nav_key = "batteries"
    subject_model: ClassVar[type[TeamOwned]] = Reading
    http_method_names = ["post"]

    def post(self, request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        reading = self.scope.get(Reading, pk=self.kwargs["pk"])
        battery_id = reading.battery_id
        record_delete(scope=self.scope, instance=reading)
        self.say("Reading taken out. Its history keeps it.")
        return self.go("battery-detail", pk=battery_id)
