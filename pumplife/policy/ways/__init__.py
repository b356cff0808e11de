"""Every way of working a pump side that a workshop can follow, compared on one footing."""
