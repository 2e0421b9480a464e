"""What the store says of sowings, boxes and spots, for every place where a grower reads it."""
