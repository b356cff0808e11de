"""What the plant wrote down: read, check and lay out along time."""
