from inventory.models.batteries import Battery, BatteryState, CapacityTest, Charge, Method, Reading
from inventory.models.catalogue import (
    BatteryModel,
    DevicePoint,
    Part,
    PartKind,
    ProtectiveDevice,
    TerminalType,
    Unit,
    WireType,
)
from inventory.models.components import Component
from inventory.models.stock import Bin, Movement, MovementKind, Spool, StockItem
from inventory.models.supply import Offer, Supplier

__all__ = [
    "Battery",
    "BatteryModel",
    "BatteryState",
    "Bin",
    "CapacityTest",
    "Charge",
    "Component",
    "DevicePoint",
    "Method",
    "Movement",
    "MovementKind",
    "Offer",
    "Part",
    "PartKind",
    "ProtectiveDevice",
    "Reading",
    "Spool",
    "StockItem",
    "Supplier",
    "TerminalType",
    "Unit",
    "WireType",
]
