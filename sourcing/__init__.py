"""The domain: codes, comps, terms of sale, rules, verdicts, hauls, settings and their storage."""
