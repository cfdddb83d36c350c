"""What tells one state of the timed batches from another."""

# Taps are only appended, and marked as undone or not: the three change together with any of that.
PREP_STAMP = """(SELECT MAX(id) FROM prep_tap), (SELECT COUNT(*) FROM prep_tap WHERE undone_at IS NOT NULL),
 (SELECT MAX(undone_at) FROM prep_tap)"""
