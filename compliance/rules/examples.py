"""A worked example for every rule, computed when it is asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from compliance.rules import examples_care as care
from compliance.rules import examples_electrical as electrical
from compliance.rules import examples_network as network
from compliance.rules import examples_planning as planning

EXAMPLES: dict[str, Callable[[], dict[str, Any]]] = {
    "wire-ampacity": electrical.ampacity,
    "wire-drop": electrical.drop,
    "device-rating": electrical.rating,
    "device-load": electrical.continuous,
    "device-peak": electrical.peak,
    "device-interrupt": electrical.interrupt,
    "device-missing": electrical.missing,
    "terminal-barrel": electrical.barrel,
    "terminal-hole": electrical.hole,
    "feed-sum": electrical.feed,
    "circuit-unknown": electrical.unknown,
    "supply-collapse": network.collapse,
    "board-sag": network.sag,
    "load-voltage": network.load_voltage,
    "wire-hot": network.hot,
    "main-trip": network.main_trip,
    "fault-withstand": network.withstand,
    "fault-slow": network.slow,
    "selectivity": network.selective,
    "device-points": network.points,
    "network-gap": network.gap,
    "wiring-minimum": network.minimum,
    "radio-feed": network.radio,
    "battery-rise": planning.rise,
    "battery-sudden": planning.sudden,
    "battery-capacity": planning.capacity,
    "battery-use": planning.use,
    "battery-unjudged": planning.too_few,
    "battery-sag": care.sag,
    "battery-topup": care.topup,
    "battery-incident": care.incident,
    "stock-short": planning.reorder,
    "stock-no-offer": planning.no_offer,
    "stock-floor": planning.floor,
}
