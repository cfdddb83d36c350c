"""What really came of what was bought: sales against what was assumed, sales files, own sales as comps."""
