"""The take-along pack: everything needed to judge without the server, in one file of columns."""
