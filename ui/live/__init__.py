"""What the live screens show, as plain models without Qt."""
