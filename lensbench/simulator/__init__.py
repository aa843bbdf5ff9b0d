"""A lens known in full, and the shots it would take, with the truth beside them."""
