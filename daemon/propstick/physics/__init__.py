"""Functions of arrays: sun, air, and the heat balance of a small glazed box."""
