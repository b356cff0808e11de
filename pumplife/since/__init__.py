"""What changed since an older study and why, and the plant's figures month by month."""
