"""A simulated market of known truth: comps files and a shelf list to read, and scores for any list of answers."""
