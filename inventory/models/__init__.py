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
from inventory.models.chargers import Charger
from inventory.models.components import Component
from inventory.models.incidents import BatteryIncident
from inventory.models.stock import Bin, Movement, MovementKind, Spool, StockItem
from inventory.models.supply import Offer, Supplier

__all__ = [
    "Battery",
    "BatteryIncident",
    "BatteryModel",
    "BatteryState",
    "Bin",
    "CapacityTest",
    "Charge",
    "Charger",
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
