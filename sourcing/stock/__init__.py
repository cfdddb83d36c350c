"""What was bought and what became of it: stock items, their ledger, labels, sales and returns."""
