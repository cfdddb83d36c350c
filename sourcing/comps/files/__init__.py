"""How the bytes of a file become rows of text: its kind, its encoding, what divides its cells, where its header is."""
