"""The demonstration: the real watch on an invented garden, faster than life."""
