"""Flags of a piece: what the user marks at the rack, the words that say it in comps, and what it does to the price."""
