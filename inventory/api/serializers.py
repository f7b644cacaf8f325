"""What the API takes and gives of catalogue, stores and batteries."""

from __future__ import annotations

from dataclasses import fields as fields_of
from typing import Any

from rest_framework import serializers

from inventory.kinds import KIND_FIELDS, OWN_FIELDS
from inventory.models import (
    Battery,
    BatteryIncident,
    BatteryModel,
    Bin,
    CapacityTest,
    Charge,
    Charger,
    Component,
    DevicePoint,
    Method,
    Movement,
    Offer,
    Part,
    PartKind,
    ProtectiveDevice,
    Reading,
    Spool,
    StockItem,
    Supplier,
    TerminalType,
    WireType,
)
from inventory.services.intake import FirstReading
from shared.api import ScopedSerializer, TeamSerializer, team_serializer
from shared.fields import QuantitySerializerField

PartSerializer = team_serializer(
    Part, "kind", *KIND_FIELDS[PartKind.OTHER], "archived", read_only=("kind", "archived")
)
BinSerializer = team_serializer(Bin, "code", "name", "travels", "archived", read_only=("archived",))
SupplierSerializer = team_serializer(
    Supplier, "name", "contact", "notes", "archived", read_only=("archived",)
)
OfferSerializer = team_serializer(
    Offer, "part", "supplier", "supplier_code", "price", "pack_size", "minimum_packs", "lead_time_days", "archived",
    read_only=("archived",),
)  # fmt: skip
StockItemSerializer = team_serializer(
    StockItem, "part", "bin", "quantity", read_only=("part", "bin", "quantity")
)
DevicePointSerializer = team_serializer(
    DevicePoint, "device", "multiple", "opens_min_s", "opens_max_s", "status", "source"
)
BATTERY_FIELDS = (
    "id", "code", "model", "serial", "acquired_on", "in_service_on", "cycles_at_intake", "state", "state_reason",
    "notes", "archived",
)  # fmt: skip
BatterySerializer = team_serializer(
    Battery, *BATTERY_FIELDS[1:], read_only=("state", "state_reason", "archived")
)


def kind_serializer(model: type[Part]) -> type[TeamSerializer]:
    """The serializer of a kind of part: what every part has, and the figures of the kind."""
    names = dict.fromkeys(
        ("kind", "code", "name", *OWN_FIELDS[model.KIND], *KIND_FIELDS[PartKind.OTHER], "archived")
    )
    return team_serializer(model, *names, read_only=("kind", "archived"))


WireTypeSerializer = kind_serializer(WireType)
TerminalTypeSerializer = kind_serializer(TerminalType)
ProtectiveDeviceSerializer = kind_serializer(ProtectiveDevice)
BatteryModelSerializer = kind_serializer(BatteryModel)
ComponentSerializer = kind_serializer(Component)


class TypedSizeSerializer(WireTypeSerializer):  # type: ignore[misc,valid-type]  # made at run time
    """A wire type; its area follows from the size as typed unless one is given."""

    class Meta(WireTypeSerializer.Meta):  # type: ignore[name-defined,misc]
        extra_kwargs = {"area_mm2": {"required": False}}


class MovementSerializer(TeamSerializer):
    class Meta:
        model = Movement
        fields = (
            "id", "kind", "part", "bin", "spool", "quantity", "balance", "reason", "at", "by", "request_id", "group",
        )  # fmt: skip
        read_only_fields = fields


class MovementInSerializer(ScopedSerializer):
    """One movement. Send the same ``request_id`` again and it is the same line, not a second one."""

    part = serializers.PrimaryKeyRelatedField(queryset=Part.objects.all())
    bin = serializers.PrimaryKeyRelatedField(
        queryset=Bin.objects.all(), required=False, help_text="Needed unless a spool is given"
    )
    spool = serializers.PrimaryKeyRelatedField(
        queryset=Spool.objects.select_related("bin"),
        required=False,
        help_text="For wire, which lies on spools",
    )
    quantity = serializers.DecimalField(
        max_digits=12, decimal_places=3, help_text="Above 0; a count gives what is there"
    )
    reason = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)
    at = serializers.DateTimeField(required=False)
    request_id = serializers.UUIDField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        spool = attrs.get("spool")
        if spool is not None:
            attrs.setdefault("bin", spool.bin)
        if "bin" not in attrs:
            raise serializers.ValidationError({"bin": "Say which bin, or for wire which spool."})
        return attrs


class MoveSerializer(ScopedSerializer):
    """A part carried to another bin, or a whole spool when a spool is given."""

    part = serializers.PrimaryKeyRelatedField(queryset=Part.objects.all(), required=False)
    bin = serializers.PrimaryKeyRelatedField(queryset=Bin.objects.all(), required=False)
    spool = serializers.PrimaryKeyRelatedField(queryset=Spool.objects.select_related("bin"), required=False)
    to_bin = serializers.PrimaryKeyRelatedField(queryset=Bin.objects.all())
    quantity = serializers.DecimalField(max_digits=12, decimal_places=3, required=False)
    reason = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)
    at = serializers.DateTimeField(required=False)
    request_id = serializers.UUIDField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        needed = () if "spool" in attrs else ("part", "bin", "quantity")
        if missing := [name for name in needed if name not in attrs]:
            raise serializers.ValidationError(
                dict.fromkeys(missing, "Needed, unless a whole spool is moved.")
            )
        return attrs


class UndoSerializer(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=150, required=False, default="", allow_blank=True)


class SpoolSerializer(TeamSerializer):
    """A spool; where it lies and what is on it change through movements."""

    class Meta:
        model = Spool
        fields = ("id", "code", "wire", "bin", "full_length_m", "remaining_m", "archived")
        read_only_fields = fields


class SpoolInSerializer(ScopedSerializer):
    code = serializers.CharField(max_length=40)
    wire = serializers.PrimaryKeyRelatedField(queryset=WireType.objects.all())
    bin = serializers.PrimaryKeyRelatedField(queryset=Bin.objects.all())
    full_length_m = serializers.DecimalField(max_digits=9, decimal_places=3)
    remaining_m = serializers.DecimalField(
        max_digits=9, decimal_places=3, required=False, help_text="Left out: it is full"
    )
    reason = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)
    at = serializers.DateTimeField(required=False)
    request_id = serializers.UUIDField(required=False)


class ReadingSerializer(TeamSerializer):
    """A resistance reading; left out, the moment is now."""

    class Meta:
        model = Reading
        fields = (
            "id", "battery", "taken_at", "resistance_mohm", "method", "instrument", "rest_v", "rest_h", "temperature_c",
            "charge_frac", "by", "note",
        )  # fmt: skip
        read_only_fields = ("id", "by")
        extra_kwargs = {"taken_at": {"required": False}}


class ChargerNameField(serializers.CharField):
    """The name of a charge's charger, read and written."""

    def get_attribute(self, instance: Any) -> str:
        return str(instance.charger.name)


class ChargeSerializer(TeamSerializer):
    """A charge; the charger is given by id, or by the name on it, which makes a new one if nobody used it yet."""

    charger_name = ChargerNameField(max_length=60, required=False)

    class Meta:
        model = Charge
        fields = (
            "id", "battery", "charger", "charger_name", "purpose", "started_at", "ended_at", "returned_ah", "by",
        )  # fmt: skip
        read_only_fields = ("id", "ended_at", "returned_ah", "by")
        extra_kwargs = {"started_at": {"required": False}, "charger": {"required": False}}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        named = attrs.pop("charger_name", "")
        if ("charger" in attrs) == bool(named):
            raise serializers.ValidationError({"charger": "Give the charger, by id or as charger_name."})
        return {**attrs, "charger": attrs.get("charger", named)}


class ChargeEndSerializer(serializers.Serializer[Any]):
    ended_at = serializers.DateTimeField(required=False)
    returned_ah = QuantitySerializerField(unit="ah", required=False, allow_null=True)


class IntakeSerializer(BatterySerializer):  # type: ignore[misc,valid-type]  # made by a function
    """A battery, and what the meters say on arrival; on its first charge if a charger is given."""

    rest_v = QuantitySerializerField(unit="v", required=False, allow_null=True)
    rest_h = QuantitySerializerField(unit="h", required=False, allow_null=True)
    resistance_mohm = QuantitySerializerField(unit="mohm", required=False, allow_null=True)
    method = serializers.ChoiceField(choices=Method.choices, required=False)
    instrument = serializers.CharField(max_length=60, required=False)
    temperature_c = QuantitySerializerField(unit="c", required=False, allow_null=True)
    charger_name = serializers.CharField(
        max_length=60, required=False, help_text="A new name makes a charger"
    )

    class Meta:
        model = Battery
        fields = (*BATTERY_FIELDS, *(field.name for field in fields_of(FirstReading)), "charger_name")
        read_only_fields = ("id", "state", "state_reason", "archived")

    def first_reading(self) -> FirstReading:
        """What was measured, taken out of the battery's own fields."""
        names = [field.name for field in fields_of(FirstReading)]
        return FirstReading(
            **{name: self.validated_data.pop(name) for name in names if name in self.validated_data}
        )


class IntakeDoneSerializer(serializers.Serializer[Any]):
    """What was entered: the battery and the first entries about it."""

    battery = BatterySerializer()
    reading = ReadingSerializer(allow_null=True)
    charge = ChargeSerializer(allow_null=True)


IncidentSerializer = team_serializer(
    BatteryIncident, "battery", "happened_at", "kind", "temperature_c", "note", "by", "looked_at", "finding",
    read_only=("battery", "by", "looked_at", "finding"),
)  # fmt: skip


class IncidentInSerializer(ScopedSerializer):
    """What happened; dropped, swollen, hot, leaking, cracked or shorted puts the battery into quarantine."""

    kind = serializers.ChoiceField(choices=BatteryIncident.Kind.choices)
    happened_at = serializers.DateTimeField(required=False, help_text="Left out: just now")
    temperature_c = QuantitySerializerField(unit="c", required=False, allow_null=True)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)


class IncidentCloseSerializer(ScopedSerializer):
    """What a qualified adult found."""

    finding = serializers.CharField(max_length=200)
    back_in_service = serializers.BooleanField(required=False, default=False)
    looked_at = serializers.DateTimeField(required=False, help_text="Left out: just now")


class BatteryStateSerializer(serializers.Serializer[Any]):
    state = serializers.ChoiceField(choices=Battery._meta.get_field("state").choices or ())
    reason = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)


ChargerSerializer = team_serializer(
    Charger, "name", "current_a", "absorption_min", "notes", "archived", read_only=("archived",)
)


class CapacityTestSerializer(TeamSerializer):
    class Meta:
        model = CapacityTest
        fields = (
            "id", "battery", "tested_at", "current_a", "end_v", "temperature_c", "capacity_ah", "by", "note",
        )  # fmt: skip
        read_only_fields = ("id", "by")
        extra_kwargs = {"tested_at": {"required": False}}


class ArchivedSerializer(serializers.Serializer[Any]):
    archived = serializers.BooleanField(default=True, help_text="false brings it back into use")
