"""The file a grower edits: read, checked, and changed without losing a comment."""
