"""Prep time: batches timed by step, what they say of the minutes a piece needs, and how many pieces an hour gives."""
