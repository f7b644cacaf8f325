"""Sheets of the batteries one by one and of what was measured on them."""

from __future__ import annotations

from inventory.models import Battery, BatteryIncident, CapacityTest, Charge, Charger, Reading
from inventory.sheets.people import by_column
from shared.workbook.declare import col, sheet

_WHICH = col("battery", reference="Batteries", explanation="Code of the battery", example="B01")

BATTERIES = sheet(
    "Batteries",
    Battery,
    key=("code",),
    columns=[
        col("code", example="B01"),
        col("model", reference="Battery models", explanation="Code of the battery model", example="AGM18"),
        col("serial", explanation="Serial number, if it has one", example="2317-0042"),
        col("acquired_on", explanation="Day it was bought or given", example="2025-09-01"),
        col("in_service_on", example="2025-10-12"),
        col("cycles_at_intake", example="0"),
        col("state", explanation="Whether it may go out", example="In service"),
        col("state_reason", example="Case swollen"),
        col("notes", explanation="Anything worth knowing", example="Lead replaced in March"),
        col("archived", explanation="Gone; kept for the history", example="no"),
    ],
)

READINGS = sheet(
    "Readings",
    Reading,
    key=("battery", "taken_at", "instrument"),
    bulk=True,
    columns=[
        _WHICH,
        col("taken_at", explanation="Date and time of the reading", example="2026-11-20 17:30"),
        col("instrument", example="Pocket bridge 1"),
        col("method", explanation="How it measures; only like is compared with like", example="AC, 1 kHz"),
        col("resistance_mohm", explanation="What it showed", example="14.2"),
        col("rest_v", heading="Rest voltage (V)", example="12.82"),
        col("rest_h", heading="Rested for (h)", example="2"),
        col("temperature_c", explanation="Of the battery, or of the room if it lay there long", example="21"),
        col("charge_frac", heading="State of charge", example="100 %"),
        by_column("measured"),
        col("note", explanation="Anything odd", example="Clamp slipped once"),
    ],
    about="Resistance readings",
)

CHARGERS = sheet(
    "Chargers",
    Charger,
    key=("name",),
    columns=[
        col("name", explanation="As it is labelled; one row per output", example="Bench left"),
        col("current_a", example="6"),
        col("absorption_min", heading="Absorption (min)", example="60"),
        col("notes", explanation="Anything worth knowing", example="Lives in the grey crate"),
        col("archived", explanation="Gone; kept for the history", example="no"),
    ],
    about="Places where a battery can be charged: a charger with four outputs is four rows",
)

CHARGES = sheet(
    "Charges",
    Charge,
    key=("battery", "started_at"),
    bulk=True,
    columns=[
        _WHICH,
        col("started_at", explanation="When it was put on the charger", example="2026-11-20 18:00"),
        col("ended_at", explanation="When it came off; empty while it is on", example="2026-11-20 21:30"),
        col("charger", reference="Chargers", explanation="Which charger", example="Bench left"),
        col("purpose", explanation="What it was for; a top-up in storage is no cycle", example="After use"),
        col("returned_ah", example="6.5"),
        by_column("put it on"),
    ],
    about="Charges; each that ended counts as one cycle, but for storage top-ups",
)

CAPACITY_TESTS = sheet(
    "Capacity tests",
    CapacityTest,
    key=("battery", "tested_at"),
    bulk=True,
    columns=[
        _WHICH,
        col("tested_at", explanation="When the test ended", example="2026-10-03 14:00"),
        col("current_a", example="5"),
        col("end_v", heading="End voltage (V)", example="10.5"),
        col("temperature_c", explanation="Of the battery at the start", example="21"),
        col("capacity_ah", example="15.1"),
        by_column("tested"),
        col("note", explanation="Anything odd", example="Charged the evening before"),
    ],
    about="Discharge tests at a known current to a known end voltage",
)

INCIDENTS = sheet(
    "Battery incidents",
    BatteryIncident,
    key=("battery", "happened_at", "kind"),
    columns=[
        _WHICH,
        col("happened_at", explanation="When it happened or was seen", example="2026-11-20 17:50"),
        col("kind", explanation="What happened", example="Dropped"),
        col("temperature_c", example="48"),
        by_column("noted it"),
        col("note", explanation="What was seen", example="From the cart, on a corner"),
        col("looked_at", example="2026-11-21 19:00"),
        col("finding", example="Case whole, 14.1 mohm as before: back in service"),
    ],
    about="What happened to batteries that nobody planned. A row here does not put the battery in quarantine: "
    "its state stands on the sheet Batteries",
)

BATTERY_SHEETS = (BATTERIES, READINGS, CHARGERS, CHARGES, CAPACITY_TESTS, INCIDENTS)
