"""The workbook's sheets of the stores: catalogue, suppliers, bins with what they hold, spools, batteries."""

from __future__ import annotations

from inventory.sheets.batteries import BATTERY_SHEETS
from inventory.sheets.catalogue import CATALOGUE_SHEETS
from inventory.sheets.stock import STOCK_SHEETS

SHEETS = (*CATALOGUE_SHEETS, *STOCK_SHEETS, *BATTERY_SHEETS)
