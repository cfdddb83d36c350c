"""What the columns of any file mean: told by the words of the header, by the values, and by what the table holds."""
