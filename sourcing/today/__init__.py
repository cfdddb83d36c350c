"""What to do today with what is listed: the chance of a sale from here, the asking price to move to, cash by age."""
