"""From a port to a recording that can be trusted, and back to physical units."""
