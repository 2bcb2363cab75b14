"""Charts: what is drawn and how."""
