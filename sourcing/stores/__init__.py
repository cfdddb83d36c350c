"""What runs and stores bring: an hour of driving, shopping, prep and selling against the profit that came of it."""
