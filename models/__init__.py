"""Statistics on arrays and frames: distributions of sale price, time to sell and net proceeds."""
