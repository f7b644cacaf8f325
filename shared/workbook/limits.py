"""How large a workbook may be, and why. A file past one of these is refused whole, with the limit named."""

from __future__ import annotations

# A team of ten batteries and five robots fills well under 1 MB; ten times the largest we expect.
MAX_FILE_BYTES = 10 * 1024 * 1024
# XML of a spreadsheet packs about ten to one. What is larger than this was made to fill the memory.
MAX_UNPACKED_BYTES = 150 * 1024 * 1024
# Parts inside the file (sheets, styles, drawings); a spreadsheet has a few dozen.
MAX_ENTRIES = 500
MAX_SHEETS = 60
# Readings are the longest sheet: 500 batteries read weekly for two years.
MAX_ROWS = 50_000
# The widest sheet we write has about thirty columns; the rest is room for a team's own notes.
MAX_COLUMNS = 100
# The last row a spreadsheet program can hold.
LAST_ROW = 1_048_576
# A row formatted out to the last possible column is common; this bounds the empty cells that are looked at.
MAX_CELLS = 6_000_000
# What one cell of a spreadsheet can hold.
MAX_CELL_CHARS = 32_767
# Errors shown; the count goes on.
MAX_ERRORS = 1_000
# Title rows, notes and examples may stand above the headings.
HEADER_SEARCH_ROWS = 20
