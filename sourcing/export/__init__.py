"""Everything there is as open files in one zip, and back: nothing is lost on the way."""
