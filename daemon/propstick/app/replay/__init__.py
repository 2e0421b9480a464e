"""A recording, or a stored night, run again and told: in a terminal, as data, as a picture."""
