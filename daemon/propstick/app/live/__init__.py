"""The watch that runs day and night: rows, their commit, and what is told of them."""
