"""What a file may ask for at most; stated to the user in docs/comps_format.md."""

from __future__ import annotations

LARGEST_CSV = 110_000_000  # bytes of text as it is uploaded, JSON lines included
MOST_ROWS = 2_000_000
MOST_COLUMNS = 500
LARGEST_CELL = 65_536  # characters
LONGEST_LINE = 4_000_000  # characters of one row, or bytes without a line break
PACKED = 30_000_000  # bytes of a workbook, a zip archive or a Parquet file
ENTRIES = 500
DIRECTORY = 1_000_000  # bytes that an archive's list of entries may take
INFLATED = 300_000_000
RATIO = 200
WALL_SECONDS = 90.0
