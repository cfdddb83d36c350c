"""The books of a period: what was bought, sold, sent back, given up and driven, and the stock that it leaves."""
