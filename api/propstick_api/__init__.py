"""The web service beside the watch."""
