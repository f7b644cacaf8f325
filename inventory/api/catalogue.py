"""API of the catalogue: parts of every kind, bins, suppliers, offers."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.serializers import (
    ArchivedSerializer,
    BatteryModelSerializer,
    BinSerializer,
    ComponentSerializer,
    DevicePointSerializer,
    OfferSerializer,
    PartSerializer,
    ProtectiveDeviceSerializer,
    SupplierSerializer,
    TerminalTypeSerializer,
    TypedSizeSerializer,
)
from inventory.models import (
    BatteryModel,
    Bin,
    Component,
    DevicePoint,
    Offer,
    Part,
    PartKind,
    ProtectiveDevice,
    Supplier,
    TerminalType,
    WireType,
)
from shared.access import Can
from shared.api import TeamViewSet
from shared.electrical.gauges import SizeError, parse_size
from shared.errors import DomainError
from shared.records import record_archive, record_save


class Archivable(TeamViewSet):
    """A row that is archived, never deleted."""

    @extend_schema(request=ArchivedSerializer, summary="Take out of use, or bring back")
    @action(detail=True, methods=["post"])
    def archive(self, request: Request, team: str, pk: str) -> Response:
        instance = self.get_object()
        asked = ArchivedSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        row = record_archive(scope=self.scope, instance=instance, archived=asked.validated_data["archived"])
        return Response(self.get_serializer(row).data)


class KindViewSet(Archivable):
    filterset_fields: ClassVar[Any] = ("code", "archived")


class PartViewSet(KindViewSet):
    """Parts of every kind; one that is created here has no figures of a kind."""

    queryset = Part.objects.order_by("code")
    serializer_class = PartSerializer
    filterset_fields: ClassVar[Any] = {
        "code": ["exact", "icontains"],
        "kind": ["exact"],
        "archived": ["exact"],
    }

    def perform_update(self, serializer: Any) -> None:
        if serializer.instance.kind != PartKind.OTHER:
            raise DomainError(
                f"{serializer.instance.code} is a {serializer.instance.get_kind_display().lower()}",
                field="kind",
                remedy="Change it under the address of its kind",
            )
        super().perform_update(serializer)


def save_wire(*, scope: Any, instance: WireType, need: Can = Can.WORK) -> WireType:
    """Save a wire type; the area follows from the size as typed when none was given."""
    if getattr(instance, "area_mm2", None) is None:  # a new row without one
        try:
            instance.area_mm2 = parse_size(instance.size_typed).area_mm2
        except SizeError as error:
            raise DomainError(str(error), field="size_typed", value=instance.size_typed) from error
    return record_save(scope=scope, instance=instance, need=need)


class WireTypeViewSet(KindViewSet):
    queryset = WireType.objects.order_by("code")
    serializer_class = TypedSizeSerializer
    save = staticmethod(save_wire)


class TerminalTypeViewSet(KindViewSet):
    queryset = TerminalType.objects.order_by("code")
    serializer_class = TerminalTypeSerializer
    filterset_fields = ("code", "form", "archived")


class ProtectiveDeviceViewSet(KindViewSet):
    queryset = ProtectiveDevice.objects.order_by("code")
    serializer_class = ProtectiveDeviceSerializer
    filterset_fields = ("code", "form", "rating_a", "archived")


class DevicePointViewSet(TeamViewSet):
    queryset = DevicePoint.objects.order_by("device", "multiple")
    serializer_class = DevicePointSerializer
    filterset_fields = ("device", "status")


class BatteryModelViewSet(KindViewSet):
    queryset = BatteryModel.objects.order_by("code")
    serializer_class = BatteryModelSerializer
    filterset_fields = ("code", "chemistry", "archived")


class ComponentViewSet(KindViewSet):
    queryset = Component.objects.order_by("code")
    serializer_class = ComponentSerializer
    filterset_fields = ("code", "role", "archived")


class BinViewSet(Archivable):
    queryset = Bin.objects.order_by("code")
    serializer_class = BinSerializer
    filterset_fields = ("code", "travels", "archived")


class SupplierViewSet(Archivable):
    write = need = Can.SUPPLY
    queryset = Supplier.objects.order_by("name")
    serializer_class = SupplierSerializer
    filterset_fields = ("name", "archived")


class OfferViewSet(Archivable):
    write = need = Can.SUPPLY
    queryset = Offer.objects.order_by("part", "price", "pk")
    serializer_class = OfferSerializer
    filterset_fields = ("part", "supplier", "archived")
