"""The outside world, one thing per file: probes, broker, channels, clock, store."""
