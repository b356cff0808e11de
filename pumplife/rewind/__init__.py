"""Past advice held against what was seen since."""
