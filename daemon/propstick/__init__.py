"""Propstick: a watch on cold frames."""
