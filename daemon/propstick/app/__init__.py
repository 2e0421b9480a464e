"""Puts the parts together: configuration, commands, the watch, replay."""
