"""The track record: forecasts as they were kept, against what came of them."""
