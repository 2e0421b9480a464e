"""What `propstick check` looks at."""
