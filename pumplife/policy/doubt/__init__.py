"""What is not sure: how the advice moves with its inputs, and what knowing more is worth."""
