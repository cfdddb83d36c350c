"""The comps table: the documented columns, loading files into it, undoing a load, looking items up."""
